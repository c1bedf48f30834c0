import numpy as np
import pytest

from rigdata.reduction.breakaway import breakaway_drafts
from rigdata.reduction.condition_shifts import condition_shifts
from rigdata.reduction.drafts import to_points
from rigdata.reduction.geometry import effective_radius, face_area
from rigdata.reduction.points import concatenate
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.windows import steady_windows


@pytest.fixture
def run(make_run):
    time = np.arange(0.0, 20.0, 0.02)
    torque = 360 + np.random.default_rng(1).normal(0, 1, time.size)
    return make_run(time, torque, 8e3, 4.0)


def by_id(shifts):
    return {source.id: shift for source, shift in shifts.items()}


def test_each_source_moves_what_it_measures(run):
    shifts = by_id(condition_shifts(run, np.arange(100, 400)))
    # Speed 4 rad/s with u 0.01 rad/s; temperature u 0.6 K; load gain 0.3 %.
    assert shifts["slip-speed:direct"] == pytest.approx((0.0025, 0, 0))
    assert shifts["plate-temperature:thermocouple"] == pytest.approx((0, 0.6, 0))
    assert shifts["clamp-load:L1:slope"] == pytest.approx((0, 0, 0.003))


@pytest.mark.parametrize("which", ["outer", "inner"])
def test_a_radius_moves_speed_and_pressure(run, which):
    radii = {"outer": 55.0, "inner": 40.0}
    moved = radii | {which: radii[which] + 0.05}

    def speed(r):
        return effective_radius(r["outer"], r["inner"], "uniform-pressure")

    def pressure(r):
        return 1 / face_area(r["outer"], r["inner"], 0.8)

    expected = (np.log(speed(moved) / speed(radii)), 0, np.log(pressure(moved) / pressure(radii)))
    shifts = by_id(condition_shifts(run, np.arange(100, 400)))
    assert shifts[f"{which}-radius:P1"] == pytest.approx(expected, rel=5e-3)


def test_they_travel_with_the_points(run):
    points = to_points(run, ratio_drafts(run, steady_windows(run)))
    both = concatenate([points.select(np.array([0])), points.select(np.array([1]))])
    speed, temperature, pressure = (m.toarray() for m in both.condition_shifts)
    place = {s.id: i for i, s in enumerate(both.sources)}
    assert len(place) == len(both.sources)
    assert speed[:, place["slip-speed:direct"]] == pytest.approx([0.0025] * 2)
    assert temperature[:, place["plate-temperature:thermocouple"]] == pytest.approx([0.6] * 2)
    assert pressure[:, place["clamp-load:L1:slope"]] == pytest.approx([0.003] * 2)
    # The same source moves mu down as it moves the pressure up.
    assert np.all(both.contributions.toarray()[:, place["clamp-load:L1:slope"]] < 0)


def test_at_standstill_the_speed_is_no_reading(make_run):
    time = np.arange(0.0, 4.0, 0.002)
    torque = np.where(time < 3, 120 * time, 300.0)
    speed = np.where(time < 3, 0.0, 0.3)
    stuck = make_run(time, torque, np.where(time > 0.5, 8e3, 0.0), speed, idle_s=0.4)
    (draft,) = breakaway_drafts(stuck)
    assert all(shift[0] == 0 for shift in draft.shifts.values())
