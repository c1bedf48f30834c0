"""What a plan predicts: against closed formulas, fits of simulated campaigns, and itself."""

import math
from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, drawn
from plan_precision import (
    POINTS,
    POWER,
    SETTINGS,
    TRUTH,
    campaign,
    expectation,
    predictions,
    sweeps_of,
)
from scipy import stats

from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.friction.laws.registry import law
from rigdata.friction.results import Group
from rigdata.planning.candidates import PlannedTest
from rigdata.planning.expected import Earlier, Expected, ExpectedSource, expected
from rigdata.planning.precision import information, precision_of_mu, precision_of_ratio
from rigdata.uncertainty.sources import Effect, Scope

RIG = ExpectedSource("torque", Scope.RIG, Effect.PROPORTIONAL, {"": 0.006})
PACK, RUN, MISFIT, NOISE = 0.02, 0.01, 0.003, 0.004
LEVEL = Expected(
    law("constant"), np.array([0.12]), PACK, RUN, MISFIT, NOISE, (RIG,), "made for the test"
)


def sweeps(runs: int, points: int) -> list[PlannedTest]:
    where = Conditions(np.geomspace(0.01, 1.0, points), 80.0, 1.0)
    return [PlannedTest("speed-sweep", (0.01, 1.0), (80.0, 80.0), (1.0, 1.0), 5.0, where)] * runs


@pytest.mark.parametrize(("packs", "runs", "points"), [(3, 2, 5), (4, 5, 12), (8, 3, 7)])
def test_a_balanced_layout_by_hand(packs, runs, points):
    """u^2 = s_pack^2/k + s_run^2/(k r) + s^2/(k r n) + u_rig^2."""
    told = precision_of_mu("one", LEVEL, sweeps(runs, points), packs, REFERENCE)
    own = (MISFIT**2 + NOISE**2) / (packs * runs * points)
    scatter = PACK**2 / packs + RUN**2 / (packs * runs) + own
    assert told.u == pytest.approx(math.sqrt(scatter + 0.006**2), rel=1e-6)


@pytest.mark.parametrize("packs", [3, 4, 8])
def test_the_mean_width_of_a_t_interval(packs):
    """2 t c4 u with E(s) = c4 sigma, c4 = sqrt(2/(k-1)) G(k/2) / G((k-1)/2)."""
    alone = replace(LEVEL, sources=())
    told = precision_of_mu("one", alone, sweeps(3, 6), packs, REFERENCE)
    c4 = math.sqrt(2 / (packs - 1)) * math.gamma(packs / 2) / math.gamma((packs - 1) / 2)
    assert told.half_width == pytest.approx(stats.t.ppf(0.975, packs - 1) * c4 * told.u, rel=0.015)


@pytest.mark.parametrize("packs", [5, 8])
def test_the_power_is_that_of_welchs_test(packs):
    """The rig cancels, and scipy's t test of pack means finds what is said to be resolvable.

    With three packs its degrees of freedom are not those of `interval_dof`, and it finds less.
    """
    both = {"one": LEVEL, "other": LEVEL}
    told = precision_of_ratio(both, sweeps(4, 6), packs, REFERENCE, power=0.9, comparisons=1)
    one = PACK**2 + RUN**2 / 4 + (MISFIT**2 + NOISE**2) / 24
    assert told.u == pytest.approx(math.sqrt(2 * one / packs), rel=1e-6)
    rng = np.random.default_rng(2)
    better, plain = rng.normal(0.0, math.sqrt(one), (2, 10_000, packs))
    better += math.log1p(told.resolvable)
    p = stats.ttest_ind(better, plain, axis=1, equal_var=False).pvalue
    assert np.mean(p < 0.05) == pytest.approx(0.9, abs=0.02)


def test_more_comparisons_need_a_larger_difference():
    both = {"one": LEVEL, "other": LEVEL}
    one, three = (
        precision_of_ratio(both, sweeps(4, 6), 4, REFERENCE, power=0.9, comparisons=n)
        for n in (1, 3)
    )
    assert three.u == one.u
    assert three.resolvable > 1.1 * one.resolvable


def test_campaigns_reach_what_was_predicted():
    """20 campaigns: the scatter of the errors within 99.9 % limits of chi-square, u within 15 %."""
    rng, count, packs = np.random.default_rng(7), 20, 4
    both = predictions(packs, TRUTH)
    found = [campaign(packs, TRUTH, both[1].resolvable, rng) for _ in range(count)]
    low, high = stats.chi2.ppf([0.0005, 0.9995], count)
    for i, told in enumerate(both):
        square = sum((one.error[i] / told.u) ** 2 for one in found)
        assert low < square < high
        stated = math.sqrt(np.mean([one.u[i] ** 2 for one in found]))
        assert stated == pytest.approx(told.u, rel=0.15)
    shown = sum(one.shown for one in found)
    assert shown >= stats.binom.ppf(0.0005, count, POWER)


def test_an_earlier_campaign_planned_again_is_known_as_well(request_of):
    """The same layout with the scatter and the errors of a fit gives the u of that fit."""
    rng = np.random.default_rng(11)
    layout = ((POINTS,) * len(SETTINGS),) * 4
    points = drawn(replace(TRUTH, layout=layout), rng)
    fits = fit_campaign(points, REFERENCE, laws=["log-speed"])
    known = expected(request_of(), "rough", Earlier("before", points, fits))
    fit = fits[Group("rough", "new")]
    assert (known.pack, known.run) == (fit.scatter.pack, fit.scatter.run)
    assert "rough (new) of before, 4 packs" in known.basis
    told = precision_of_mu("again", known, sweeps_of(TRUTH), 4, REFERENCE)
    assert told.u == pytest.approx(fit.u_reference, rel=0.01)


def test_information_is_what_readings_without_scatter_give():
    tests = sweeps(1, 5)
    alone = Expected(law("constant"), np.array([0.1]), 0.0, 0.0, 0.0, 0.01, (), "")
    found = information(alone, tests, REFERENCE, np.array([True]))
    assert found[0, 0, 0] == pytest.approx(5 / (0.01 * 0.1) ** 2)


def test_the_truth_as_expected_is_that_of_the_generator():
    known = expectation(TRUTH)
    assert (known.pack, known.noise) == (TRUTH.pack_sd, TRUTH.point_sd)
