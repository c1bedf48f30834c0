"""Every kind of fault, put into a log, is named; and a clean campaign is left in peace.

A quick sample of `tests.studies.fault_injection`, on a small campaign.
"""

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from tests.faults import inject
from tests.faults.judging import Bench

TESTS = ("zero", "drag", "sweep-light", "sweep-heavy", "load", "steady")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench") / "study"
    return Bench(folder, simulate_campaign(study_spec(tests=TESTS), 31, folder))


@pytest.mark.parametrize("inject_one", inject.INJECTORS, ids=lambda one: one.__name__)
def test_a_fault_is_named_with_its_run_and_nobody_else_is_accused(bench, inject_one):
    rng = np.random.default_rng(4)
    procedures = inject.INJECTORS[inject_one] & {"speed-sweep", "load-sweep"}
    runs = bench.runs_for(procedures)
    for run in rng.choice(len(runs), 2, replace=False):
        outcome = bench.spoilt(inject_one, runs[run], rng)
        assert outcome.named == "rightly", outcome
        assert not outcome.accused, outcome
        assert not outcome.silent, outcome


@pytest.mark.parametrize("inject_one", [inject.unplugged, inject.swapped, inject.sign, inject.unit])
def test_a_drag_run_at_fault_is_left_out_and_its_drag_borrowed(bench, inject_one):
    run = bench.runs_for(frozenset({"drag"}))[1]
    rng = np.random.default_rng(12)
    outcome = bench.spoilt(inject_one, run, rng)
    assert outcome.named == "rightly", outcome
    assert not outcome.silent, outcome


def test_the_log_is_put_back(bench):
    again = reduce_campaign(read_campaign(bench.folder))
    np.testing.assert_array_equal(again.points.mu, bench.clean.points.mu)


def test_a_wrong_coefficient_without_a_warning_would_be_seen(bench, monkeypatch):
    """The proof that the judge can fail: with the search for faults turned off it does."""
    monkeypatch.setattr("rigdata.reduction.run.find_in_run", lambda sketch: ((), sketch))
    monkeypatch.setattr("rigdata.reduction.account.find_between", lambda campaign: ())
    run = bench.runs_for(frozenset({"speed-sweep"}))[3]
    outcome = bench.spoilt(_torque_in_pound_feet, run, np.random.default_rng(1))
    assert outcome.named == "missed"
    assert outcome.silent > 10


def _torque_in_pound_feet(log, rng):
    values = log["torque"]
    log.put("torque", 0.737562 * values, np.ones(values.size, bool), digits=7)
    return inject.Injection("unit", "torque", "lbf*ft", 0.0, 1.0)


@pytest.mark.parametrize("seed", [101, 102])
def test_a_clean_campaign_gives_no_alarm(tmp_path, seed):
    simulate_campaign(study_spec(tests=TESTS), seed, tmp_path / "c")
    assert reduce_campaign(read_campaign(tmp_path / "c")).faults == ()


def test_a_material_with_half_the_friction_is_no_unit(bench):
    """Steel gives 0.6 times what the rough plate does, and is never held against it."""
    assert bench.clean.faults == ()
    mu = {name: bench.clean.points.mu[bench.clean.points.material == name] for name in
          ("rough-on-steel", "steel-on-steel")}  # fmt: skip
    assert np.median(mu["steel-on-steel"]) < 0.75 * np.median(mu["rough-on-steel"])
