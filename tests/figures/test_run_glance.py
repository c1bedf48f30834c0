"""A run at a glance: the strips, their ranges and the windows."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from rigdata.figures.run_glance import run_glance
from rigdata.reduction.trace import Trace, TraceWindow

N = 1500


@pytest.fixture
def trace() -> Trace:
    time = np.linspace(2.0, 32.0, N)
    torque = np.full(N, 100.0)
    torque[700] = 260.0  # one sample that must be seen
    return Trace(
        run="R1 <b>",
        procedure="steady",
        pack="A1",
        time_s=time,
        torque_raw_nm=torque,
        torque_nm=torque,
        clamp_load_n=np.linspace(-10.0, 5430.0, N),
        slip_speed_rad_s=np.zeros(N),
        plate_temperature_c=np.full(N, 80.0),
        windows=(TraceWindow("R1/1", 5.0, 9.0, True), TraceWindow("R1/2", 10.0, 12.0, False)),
    )


def drawn(trace: Trace) -> ElementTree.Element:
    return ElementTree.fromstring(run_glance(trace, name="run-r1", title=trace.run).markup)


def test_what_is_short_is_seen(trace: Trace) -> None:
    torque, load, slip = drawn(trace).findall("polyline")
    heights = [float(pair.split(",")[1]) for pair in torque.get("points").split()]
    assert min(heights) == pytest.approx(4.0)  # the top of its strip
    assert sorted(heights)[2] == pytest.approx(36.0)
    rising = [float(pair.split(",")[1]) for pair in load.get("points").split()]
    assert rising[0] > rising[-1]
    assert len(slip.get("points").split()) <= 540


def test_ranges_are_said_in_words_with_units(trace: Trace) -> None:
    words = [node.text for node in drawn(trace).findall("text")]
    assert "100 to 260 N\N{MIDDLE DOT}m" in words
    assert "0.0 to 5.4 kN" in words
    assert {"2 s", "32 s", "torque", "load", "slip"} <= set(words)


def test_windows_lie_where_they_are_and_look_different(trace: Trace) -> None:
    used, not_used = drawn(trace).findall("rect")
    assert float(used.get("x")) == pytest.approx(62.0 + 3.0 / 30.0 * 268.0, abs=0.1)
    assert float(used.get("width")) == pytest.approx(4.0 / 30.0 * 268.0, abs=0.1)
    assert used.get("style") != not_used.get("style")


def test_names_are_text(trace: Trace) -> None:
    assert drawn(trace).find("title").text == "R1 <b>"
    assert "<b>" not in run_glance(trace, name="r", title=trace.run).markup


def test_missing_samples_leave_the_rest(trace: Trace) -> None:
    torque = trace.torque_nm.copy()
    torque[:100] = np.nan
    assert "100 to 260" in run_glance(replace(trace, torque_nm=torque), name="r", title="").markup
