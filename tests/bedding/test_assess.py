from types import SimpleNamespace

import numpy as np
import pytest
from scipy import sparse

from rigdata.bedding.assess import assess_bedding
from rigdata.bedding.courses import NOT_BEDDED
from rigdata.bedding.keep_out import bedding_notices, before_steady, restored, without_bedding
from rigdata.bedding.results import BEDDED, NOT_YET, STEADY
from rigdata.reduction.points import FrictionPoints

PACKS = ("A1", "A2", "A3")
RUNS, EACH, STEP_KJ = 4, 20, 2.0
LAST_KJ = RUNS * EACH * STEP_KJ


def points(change, scale_kj, *, packs=PACKS, seed=1, bedding_first=False, **columns):
    """Packs that each do the same four runs, at speeds up and down and four temperatures."""
    rng = np.random.default_rng(seed)
    n = RUNS * EACH
    run = np.repeat(np.arange(RUNS), EACH)
    work = STEP_KJ * (np.arange(n) + 1.0)
    speed = np.tile(np.geomspace(0.01, 1.0, EACH // 2).tolist() * 2, RUNS)
    heat = np.array([60.0, 90.0, 80.0, 60.0])[run] + rng.normal(0.0, 1.0, n)
    law = 0.14 * (1.0 + 0.02 * np.log(speed / 0.1)) * np.exp(-5e-4 * (heat - 80.0))
    course = 1.0 + change * np.exp(-work / scale_kj)
    mu = [
        law * course * (1.0 + 0.02 * rng.normal()) * (1.0 + 0.003 * rng.normal(size=RUNS)[run])
        * (1.0 + 0.002 * rng.normal(size=n))
        for _ in packs
    ]  # fmt: skip
    total = n * len(packs)
    run_names = [f"{pack}-{number + 1}" for pack in packs for number in run]
    bedding = np.tile((run == 0) & bedding_first, len(packs))
    told = {
        "point": [f"{name}/{i}" for i, name in enumerate(run_names)],
        "run": run_names,
        "pack": np.repeat(packs, n),
        "material": ["rough"] * total,
        "state": ["new"] * total,
        "procedure": np.where(bedding, "bedding", "speed-sweep"),
        "kind": ["kinetic"] * total,
        "slip_speed_m_s": np.tile(speed, len(packs)),
        "temperature_c": np.tile(heat, len(packs)),
        "pressure_mpa": np.full(total, 1.5),
        "mu": np.concatenate(mu),
        "u_random": np.full(total, 1e-4),
        "start_s": np.tile(10.0 * np.arange(n), len(packs)),
        "used": ~bedding,
        "reason": np.where(bedding, "bedding-in", ""),
        "pack_work_kj": np.tile(work, len(packs)),
        "pack_sliding_s": np.tile(10.0 * work, len(packs)),
        "pack_engagements": np.tile(1.0 + run, len(packs)),
        "runs_not_counted": np.zeros(total),
    }
    told |= {name: ["-"] * total for name in ("batch", "method", "direction")}
    told |= {name: [1] * total for name in ("service_hours", "n_samples", "n_effective", "dwell_s")}
    told["end_s"] = told["start_s"] + 5.0
    told |= columns
    return FrictionPoints(**told, sources=(), contributions=sparse.csr_array((total, 0)))


def assessed(made):
    pack = {
        "friction_faces": 10,
        "outer_radius_mm": 55.0,
        "inner_radius_mm": 40.0,
        "radius_u_mm": 0.05,
        "contact_area_fraction": 0.8,
        "pressure_law": "uniform-pressure",
    }
    packs = {name: SimpleNamespace(name=name, **pack) for name in PACKS}
    return assess_bedding(made, SimpleNamespace(packs=packs))


def test_a_change_that_is_over_has_a_work_an_interval_and_what_was_done_by_then():
    bedding = assessed(points(-0.08, 15.0))
    true = 15.0 * np.log(8.0)
    for one in bedding.packs:
        assert one.verdict == BEDDED
        assert one.low_kj <= true <= one.high_kj
        assert (one.runs, one.n_runs) == (1, 4)
        assert one.sliding_min == pytest.approx(10.0 * one.work_kj / 60.0, rel=0.01)
        assert one.work_j_mm2 == pytest.approx(1e3 * one.work_kj / 35814.0, rel=1e-3)


def test_a_change_in_the_first_run_is_no_effect_of_its_temperature():
    """The first and the last run are at one temperature, so the two can be told apart."""
    made = points(-0.08, 15.0)
    kept = without_bedding(made, assessed(made))
    out = kept.select(~kept.used)
    assert set(out.run.tolist()) == {"A1-1", "A2-1", "A3-1"}
    assert out.pack_work_kj.max() == pytest.approx(15.0 * np.log(8.0), abs=8.0)
    assert np.all(kept.reason[~kept.used] == NOT_BEDDED)
    assert np.array_equal(restored(kept).used, made.used)


def test_packs_that_do_not_change_are_steady_and_lose_nothing():
    made = points(0.0, 15.0)
    bedding = assessed(made)
    assert {one.verdict for one in bedding.packs} == {STEADY}
    assert all("no change beyond" in one.words for one in bedding.packs)
    assert not bedding.groups
    assert not np.any(before_steady(made, bedding))
    assert bedding_notices(made, bedding) == ()


def test_a_change_beyond_the_tests_asks_for_more_bedding():
    made = points(-0.2, 80.0)
    bedding = assessed(made)
    assert {one.verdict for one in bedding.packs} == {NOT_YET}
    assert all(one.high_kj > LAST_KJ for one in bedding.packs)
    assert all("keep bedding" in one.words for one in bedding.packs)
    kept = without_bedding(made, bedding)
    assert np.array_equal(kept.used, made.used)  # nothing would be left
    told = [notice.what for notice in bedding_notices(kept, bedding)]
    assert any("are used all the same" in what for what in told)
    assert sum("keep bedding" not in what for what in told) == len(told)


def test_bedding_runs_show_the_course_and_stay_out():
    made = points(-0.08, 10.0, bedding_first=True)
    bedding = assessed(made)
    assert {one.verdict for one in bedding.packs} == {BEDDED}
    kept = without_bedding(made, bedding)
    assert np.array_equal(kept.used, made.used)
    assert set(kept.reason[~kept.used].tolist()) == {"bedding-in"}


def test_one_point_alone_is_no_course():
    made = points(0.0, 15.0)
    spiked = np.array(made.mu)
    spiked[[0, 45]] *= [0.94, 1.3]  # the first point of A1, and one in the middle
    bedding = assessed(points(0.0, 15.0, mu=spiked))
    assert bedding.packs[0].words == "cannot tell: the first point alone is off"
    assert [one.verdict for one in bedding.packs[1:]] == [STEADY, STEADY]
    assert bedding.packs[0].n_points == RUNS * EACH - 1  # the spike is set aside


def test_few_points_say_nothing_and_lost_runs_are_told():
    made = points(-0.08, 15.0, runs_not_counted=np.repeat([0.0, 2.0, 0.0], RUNS * EACH))
    few = np.ones(len(made), bool)
    few[5 : RUNS * EACH] = False
    bedding = assessed(made.select(few))
    first, second, _ = bedding.packs
    assert first.words == "cannot tell: its sliding work is known at 5 points; 6 are needed"
    assert second.least
    assert any("least it can be" in notice.what for notice in bedding.notices)
