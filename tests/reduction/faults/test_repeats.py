"""Readings of a run at one condition: what goes up and down again, and what is told of it."""

from dataclasses import replace

import numpy as np
import pytest

from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.fault import Action, Kind
from rigdata.reduction.faults.repeats import Swing, swings
from rigdata.reduction.faults.unlike import restless
from tests.reduction.faults.test_unlike import trait
from tests.studies.friction_points import Truth, drawn

COURSE = (0.1000, 0.1060, 0.1010, 0.1000)


def held(mu, procedure="steady", **conditions):
    """A run that read these coefficients one after the other at one condition."""
    count = len(mu)
    points = drawn(Truth(packs=1, runs=(1, 1), points=(count, count)), np.random.default_rng(5))
    at = {"slip_speed_m_s": 0.2, "temperature_c": 80.0, "pressure_mpa": 1.0, **conditions}
    return replace(
        points,
        run=np.full(count, "R99"),
        procedure=np.full(count, procedure),
        mu=np.array(mu),
        u_random=np.full(count, 0.0005),
        start_s=10.0 * np.arange(count),
        **{name: np.broadcast_to(np.asarray(value, float), count) for name, value in at.items()},
    )


@pytest.mark.parametrize("course", [COURSE, tuple(0.2 - mu for mu in COURSE)])
def test_the_smaller_way_counts_over_the_noise_of_a_difference(course):
    (swing,) = swings([held(course)]).values()
    # 0.0060 to one side and as much back in the end
    assert swing.size == pytest.approx(0.0060 / np.median(course))
    assert swing.times == pytest.approx(0.0060 / (np.sqrt(2.0) * 0.0005))
    assert swing.readings == 4


def test_one_way_alone_is_a_drift():
    assert swings([held(sorted(COURSE))])["R99"].size == 0.0


def test_only_what_is_held_at_one_condition_is_compared():
    other = held(COURSE, temperature_c=[80.0, 90.0, 80.0, 80.0])
    assert swings([other])["R99"].readings == 3
    assert swings([other])["R99"].size == pytest.approx(0.01)  # 0.100, 0.101 and 0.100
    for far in (
        {"slip_speed_m_s": [0.2, 0.22, 0.18, 0.2]},
        {"pressure_mpa": [1.0, 1.1, 0.9, 1.0]},
        {"temperature_c": [80.0, 90.0, 70.0, 80.0]},
    ):
        assert swings([held(COURSE, **far)]) == {}
    assert swings([held(COURSE, procedure="speed-sweep")]) == {}


@pytest.mark.parametrize(
    ("size", "times", "told"), [(0.05, 8.0, True), (0.05, 3.5, False), (0.009, 8.0, False)]
)
def test_restless_is_what_goes_beyond_noise_and_beyond_what_plates_do(size, times, told):
    runs = [trait(f"R{i}", "steady") for i in range(3)] + [trait("R99", "steady")]
    found = list(restless(Compared(runs, {}, {}, (), {"R99": Swing(size, times, 4)})))
    assert [(f.run, f.kind, f.action) for f in found] == [
        ("R99", Kind.ALIASING, Action.KEPT)
    ] * told
    again = Compared(runs, {}, {}, found, {"R99": Swing(size, times, 4)})
    assert told is False or not list(restless(again))
