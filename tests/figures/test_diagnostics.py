"""Residual panels and slopes over slip speed: what they show and what they say."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from rigdata.figures import residuals, slopes
from rigdata.figures.svg import inline_svg
from rigdata.friction.diagnostics.findings import Finding, ResidualTrend
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import Group
from rigdata.friction.slopes import slopes_by_temperature

GROUP = Group("rough", "new")


def texts(figure):
    svg = inline_svg(figure, name="f", title="t", description="d").markup
    return [n.text for n in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def changed(fits, **changes):
    """The fits with other diagnostics of the first group."""
    diagnostics = replace(fits[GROUP].diagnostics, **changes)
    return {**fits, GROUP: replace(fits[GROUP], diagnostics=diagnostics)}


def trend(coordinate, value):
    x = np.linspace(1.0, 2.0, 5)
    return ResidualTrend(coordinate, x, x * 0 + value, x * 0 + value - 0.01, x * 0 + value + 0.01,
                         "")  # fmt: skip


def test_residual_panels_carry_every_axis_and_the_order_of_runs(points, fits, marks):
    figure = residuals.residuals(points, fits, marks)
    shown = texts(figure)
    axes = {"Slip speed [m/s]", "Plate temperature [°C]", "Face pressure [MPa]"}
    assert axes | {"Run of its pack, in order", "Point against its law [%]"} <= set(shown)
    assert len(figure.axes) == 4 * len(fits)
    assert "level" in shown


def test_each_panel_holds_every_point_and_its_trend(points, fits, marks):
    figure = residuals.residuals(points, fits, marks)
    panel = figure.axes[0]
    drawn = [line for line in panel.lines if line.get_marker() not in ("None", None, "")]
    n = sum(len(line.get_xdata()) for line in drawn)
    assert n == fits[GROUP].n_points
    (smooth,) = (line for line in panel.lines if len(line.get_xdata()) == 41)
    expected = 100.0 * fits[GROUP].diagnostics.trend("slip_speed_m_s").value
    np.testing.assert_allclose(smooth.get_ydata(), expected)


def test_a_trend_that_leaves_zero_says_so(points, fits, marks):
    wrong = changed(fits, trends=(trend("slip_speed_m_s", -0.02), trend("temperature_c", 0.0)))
    shown = texts(residuals.residuals(points, wrong, marks))
    assert "leaves zero: −2.0 %" in shown


def test_the_fits_own_test_of_a_trend_is_not_told_as_level(points, fits, marks):
    wrong = {**fits, GROUP: replace(fits[GROUP], residual_trend={"temperature_c": -4.2})}
    assert "trend of 4.2 s.e." in texts(residuals.residuals(points, wrong, marks))


def test_hysteresis_and_drift_are_named_where_they_are_clear(points, fits, marks):
    found = tuple(
        Finding(name, value, 0.001, 0.0, 0.0, "1", True, "")
        for name, value in (("hysteresis", 0.031), ("drift per run", -0.004))
    )
    wrong = changed(fits, findings=found, trends=(trend("order", 0.0),))
    shown = texts(residuals.residuals(points, wrong, marks))
    assert "rough (new): hysteresis +3.1 %" in shown
    assert "drift: −0.4 % a run" in shown


def test_fits_without_diagnostics_show_their_points(points, fits, marks):
    bare = {group: replace(fit, diagnostics=None) for group, fit in fits.items()}
    assert "level" not in texts(residuals.residuals(points, bare, marks))


def test_slopes_are_drawn_cold_and_hot_and_named_by_what_they_do(fits):
    found = {group: slopes_by_temperature(fit) for group, fit in fits.items()}
    assert len(found[GROUP]) == 3
    figure = slopes.speed_slopes(found)
    shown = texts(figure)
    assert "rises: damps chatter" in shown
    assert "falls: feeds chatter" not in shown
    assert any(text.startswith("cold, ") and text.endswith(" °C") for text in shown)
    slope = found[GROUP][0]
    line = next(li for li in figure.axes[0].lines if len(li.get_xdata()) == slope.value.size)
    expected = np.log(2.0) * slope.where.slip_speed_m_s * slope.value
    np.testing.assert_allclose(line.get_ydata(), expected)


def test_a_falling_coefficient_is_labelled_as_feeding_chatter(points, reference):
    kinetic = points.select(points.kind == "kinetic")
    falling = replace(kinetic, mu=kinetic.mu - 0.008 * np.log(kinetic.slip_speed_m_s / 0.1))
    fits = fit_campaign(falling, reference, laws=["log-speed"])
    found = {group: slopes_by_temperature(fit) for group, fit in fits.items()}
    shown = texts(slopes.speed_slopes(found))
    assert "falls: feeds chatter" in shown
    assert "rises: damps chatter" not in shown


@pytest.mark.parametrize("count", [1, 3])
def test_any_number_of_groups_is_drawn(fits, count):
    one = slopes_by_temperature(fits[GROUP])
    found = {Group(f"m{i}", "new"): one[: 1 + i] for i in range(count)}
    shown = texts(slopes.speed_slopes(found))
    assert {f"m{i} (new)" for i in range(count)} <= set(shown)
