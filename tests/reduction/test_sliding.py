import datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import sparse

from rigdata.campaign.campaign import Run
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.sliding import Sliding, sliding_of, with_pack_work

TIME = np.arange(0.0, 60.0, 0.05)
RNG = np.random.default_rng(3)
SLIPPING = ((TIME > 10.0) & (TIME < 20.0)) | ((TIME > 30.0) & (TIME < 50.0))
PRESSED = (TIME > 5.0) & (TIME < 55.0)


@pytest.fixture
def two_engagements(make_run):
    """32 N m at 2 rad/s for ten and for twenty seconds, noise of the pickup all along."""
    noise = 0.02 * np.abs(RNG.normal(size=TIME.size))
    return make_run(TIME, 32.0, np.where(PRESSED, 5e3, 0.0), 2.0 * SLIPPING + noise, idle_s=4.0)


def test_work_is_power_over_time_and_standstill_adds_nothing(two_engagements):
    work, slid, engagements = sliding_of(two_engagements).total
    assert work == pytest.approx(32.0 * 2.0 * 30.0 / 1e3, rel=0.02)
    assert slid == pytest.approx(30.0, abs=0.3)
    assert engagements == 2
    still = sliding_of(two_engagements).at(np.array([9.0, 25.0, 59.0]))[0]
    assert still == pytest.approx([0.0, 0.64, 1.92], rel=0.02)


def test_slip_without_load_is_no_friction_work(make_run):
    pressed = (TIME > 40.0) & (TIME < 50.0)
    run = make_run(TIME, 32.0, np.where(pressed, 5e3, 0.0), 2.0 * (TIME > 4.0), idle_s=3.0)
    assert sliding_of(run).total[0] == pytest.approx(0.64, rel=0.02)


def slipping(make_run, *times):
    """A pack pressed all along, at 2 rad/s between each pair of times."""
    time = np.arange(0.0, 10.0, 0.01)
    speed = 2.0 * sum((time > a - 0.005) & (time < b - 0.005) for a, b in times)
    return make_run(time, 32.0, 5e3, speed, idle_s=0.9)


@pytest.mark.parametrize(("length", "counts"), [(0.24, 0), (0.26, 1)])
def test_a_slip_of_a_quarter_second_is_more_than_noise(make_run, length, counts):
    work, _, engagements = sliding_of(slipping(make_run, (4.0, 4.0 + length))).total
    assert engagements == counts
    assert work == pytest.approx(counts * 0.064 * length, rel=1e-9)


@pytest.mark.parametrize(("pause", "engagements"), [(0.48, 1), (0.52, 2)])
def test_a_pause_of_half_a_second_parts_two_engagements(make_run, pause, engagements):
    sliding = sliding_of(slipping(make_run, (2.0, 4.0), (4.0 + pause, 8.0)))
    assert sliding.begun_s == pytest.approx([2.0, 4.0 + pause][:engagements])


def test_a_log_that_ends_in_a_slip_counts_to_its_last_frame(make_run):
    work, slid, _ = sliding_of(slipping(make_run, (2.0, 20.0))).total
    assert slid == pytest.approx(7.99)
    # The power rises within one step.
    assert work == pytest.approx(0.064 * (7.99 + 0.005))


def run(name, day=None, log=None, **more):
    date = datetime.date(2025, 3, day) if day else None
    return Run(
        name, "A1", more.pop("procedure", "steady"), Path(log or f"{name}.csv"), date, **more
    )


def campaign(*runs, sliding_work_mj=None):
    pack = SimpleNamespace(sliding_work_mj=sliding_work_mj)
    return SimpleNamespace(runs=runs, packs={"A1": pack}, date=None)


def points(*places):
    """Points of pack A1, each ``(run, start_s)`` and two seconds long."""
    n = len(places)
    columns = {
        "point": [f"{name}/{i}" for i, (name, _) in enumerate(places)],
        "run": [name for name, _ in places],
        "pack": ["A1"] * n,
        "kind": ["kinetic"] * n,
        "start_s": [start for _, start in places],
        "end_s": [start + 2.0 for _, start in places],
        "used": [True] * n,
    }
    text = ("material", "batch", "state", "procedure", "method", "direction", "reason")
    numbers = ("service_hours", "slip_speed_m_s", "temperature_c", "pressure_mpa", "mu")
    more = ("u_random", "n_samples", "n_effective", "dwell_s")
    columns |= {name: ["-"] * n for name in text} | {name: [1] * n for name in (*numbers, *more)}
    return FrictionPoints(**columns, sources=(), contributions=sparse.csr_array((n, 0)))


STEADY = Sliding(
    time_s=np.array([0.0, 100.0]),
    work_kj=np.array([0.0, 10.0]),
    slid_s=np.array([0.0, 100.0]),
    begun_s=np.array([0.0]),
)


def test_runs_follow_each_other_by_date_and_what_was_left_out_counts():
    runs = (
        run("R3", 3),
        run("R1", 1),
        run("R2", 2, exclude="noisy"),
        run("Z", 1, procedure="zero"),
    )
    read = []
    found = with_pack_work(
        points(("R3", 49.0), ("R1", 49.0)),
        campaign(*runs, sliding_work_mj=0.5),
        {"R1": STEADY, "R3": STEADY},
        lambda runs: read.extend(one.id for one in runs) or [STEADY for _ in runs],
    )
    assert found.pack_work_kj == pytest.approx([525.0, 505.0])
    assert found.pack_sliding_s == pytest.approx([250.0, 50.0])
    assert found.pack_engagements.tolist() == [3.0, 1.0]
    assert found.runs_not_counted.tolist() == [0.0, 0.0]
    assert read == ["R2"]


def test_a_log_that_cannot_be_read_makes_the_work_the_least_it_can_be():
    runs = (run("R1", exclude="lost"), run("R2"))
    found = with_pack_work(
        points(("R2", 49.0)),
        campaign(*runs),
        {"R2": STEADY},
        lambda runs: [None for _ in runs],
    )
    assert found.pack_work_kj == pytest.approx([5.0])
    assert found.runs_not_counted.tolist() == [1.0]


def test_a_part_of_a_log_stands_on_the_whole_of_it():
    parts = [
        run(name, log="one.csv", start_s=s, end_s=s + 30.0) for name, s in (("a", 20), ("b", 60))
    ]
    read = []
    found = with_pack_work(
        points(("a", 29.0), ("b", 69.0), ("c", 9.0)),
        campaign(*parts, run("c")),
        {"a": STEADY, "b": STEADY, "c": STEADY},
        lambda runs: (
            read.extend((one.id, one.start_s, one.end_s) for one in runs) or [STEADY for _ in runs]
        ),
    )
    assert found.pack_work_kj == pytest.approx([3.0, 7.0, 11.0])
    assert read == [("a", None, None)]
