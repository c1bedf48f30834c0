"""The part of the report on stick and slip, quiet and loud."""

from dataclasses import replace

import numpy as np

from rigdata.report.chatter import chatter_section
from rigdata.report.html import element, render
from rigdata.report.stick_slip import stick_slip_part


def told(report, ripple, *, limit=0.004, **columns):
    """The report with a torque ripple at its kinetic points, and what it says of it."""
    points = report.points
    kinetic = points.kind == "kinetic"
    points = replace(
        points,
        torque_ripple=np.where(kinetic, ripple, np.nan),
        ripple_limit=np.where(kinetic, limit, np.nan),
        stick_share=np.where(kinetic, columns.pop("stick_share", 0.0), np.nan),
        **columns,
    )
    report = replace(report, reduction=replace(report.reduction, points=points))
    return report, render(element("div", stick_slip_part(report)))


def test_nothing_is_said_where_nothing_was_measured(full):
    assert stick_slip_part(full) is None
    assert "Stick and slip in the logs" not in render(chatter_section(full).markup())


def test_quiet_packs_take_one_line_with_the_noise(full):
    _, text = told(full, 0.003)
    assert text.count("<p>") == 1
    assert "No stick-slip in" in text
    assert "torque ripples by 0.3" in text
    assert "noise of the cell alone stays below 0.4" in text
    assert "<svg" not in text
    assert "<table" not in text


def test_without_a_known_noise_the_line_leaves_it_out(full):
    _, text = told(full, 0.003, limit=np.nan)
    assert "of its mean." in text


def test_stick_slip_has_words_figure_and_table(full):
    points = full.points
    slow = (points.material == "plain") & (points.slip_speed_m_s < 0.06)
    report, text = told(full, np.where(slow, 0.12, 0.003), ripple_hz=np.where(slow, 17.2, np.nan))
    assert "plain (new): sticks and slips below" in text
    assert "rough (new): no stick-slip" in text
    assert 'id="torque-ripple-title"' in text
    assert "onset at 0.0" in text
    assert '<td class="number">17</td>' in text
    assert '<td class="number">12</td>' in text
    assert "cannot be told from lower ones" in text
    section = render(chatter_section(report).markup())
    assert section.index("Chatter tendency") < section.index("Stick and slip in the logs")


def test_a_frequency_beyond_the_frames_is_told_as_a_limit(full):
    slow = full.points.slip_speed_m_s < 0.06
    _, text = told(full, np.where(slow, 0.12, 0.003), ripple_above_hz=np.where(slow, 100.0, np.nan))
    assert "at more than 100" in text
    assert "&gt; 100" in text


def test_onsets_that_were_not_passed_have_one_limit(full):
    rough = full.points.material == "rough"
    _, text = told(full, np.where(rough, 0.1, 0.003))
    assert "&lt; 0.005" in text
    assert "&gt; 1.5" in text


def test_a_hum_is_said_not_to_be_stick_slip(full):
    _, text = told(full, 0.04, ripple_hz=np.full(len(full.points), 50.0))
    assert "does not depend on slip speed, at 50" in text
    assert "sticks and slips" not in text


def test_it_stands_without_fits(unfitted):
    _, text = told(unfitted, np.where(unfitted.points.slip_speed_m_s < 0.06, 0.1, 0.003))
    assert "sticks and slips below" in text
    assert "fitted law" not in text
