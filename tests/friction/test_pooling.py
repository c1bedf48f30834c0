"""Scatter of several groups taken together: the test, the choice, and what follows from it."""

import json
from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn
from scipy import stats

from rigdata.comparison.pair_fits import fit_pair
from rigdata.comparison.ratios import compare_groups
from rigdata.friction.budget import fit_budget, fit_solution
from rigdata.friction.conditions import at
from rigdata.friction.estimate import Estimate
from rigdata.friction.fit import fit_campaign, fit_group, split
from rigdata.friction.fits_file import fits_from_dict, fits_to_dict
from rigdata.friction.pooling import alike, bartlett, pool, seen
from rigdata.friction.results import Group
from rigdata.reduction.points import concatenate

PLAIN, ROUGH = Group("plain", "new"), Group("rough", "new")
BARE = Truth(law="constant", theta=(0.12,), gain_u=0.0, radius_u=0.0, zero_u=0.0, point_sd=1e-4)


def points_of(seed=1, **truths):
    rng = np.random.default_rng(seed)
    gain = rng.normal()
    return concatenate([drawn(truth, rng, gain) for truth in truths.values()])


def two(seed=1, **changes):
    """A material of three packs and one of two, alike in everything else."""
    plain = replace(Truth(material="plain"), **changes)
    return points_of(seed, plain=plain, rough=replace(plain, material="rough", packs=2))


def fitted(points, **options):
    return fit_campaign(points, REFERENCE, laws=["log-speed"], **options)


@pytest.fixture(scope="module")
def points():
    return two()


@pytest.fixture(scope="module")
def own(points):
    return fitted(points)


@pytest.fixture(scope="module")
def pooled(points):
    return fitted(points, pool_scatter=True)


def test_the_statistic_is_that_of_bartlett_where_packs_are_all_there_is():
    """Packs of one exact point each: groups of plain numbers."""
    sizes = {"a": 5, "b": 4, "c": 7}
    spreads = {"a": 0.02, "b": 0.03, "c": 0.015}
    truths = {
        name: replace(BARE, material=name, layout=((1,),) * n, pack_sd=spreads[name], run_sd=0.0)
        for name, n in sizes.items()
    }
    groups = split(points_of(4, **truths), "kinetic")
    fits = [fit_group(own, g, REFERENCE, laws=["constant"]) for g, own in groups.items()]
    blocks = [fit.block(own) for fit, own in zip(fits, groups.values(), strict=True)]
    tests, common = pool(blocks, [fit.estimate for fit in fits], REFERENCE)
    expected = stats.bartlett(*(own.mu / own.mu.mean() for own in groups.values()))
    (test,) = tests
    assert test.kind == "pack"
    assert test.own_dof == pytest.approx([4, 3, 6], rel=1e-6)
    assert test.statistic == pytest.approx(expected.statistic, rel=1e-4)
    assert test.p == pytest.approx(expected.pvalue, rel=1e-4)
    squares = [np.sum((own.mu / own.mu.mean() - 1.0) ** 2) for own in groups.values()]
    assert common[0].variance == pytest.approx(sum(squares) / 13, rel=1e-4)
    assert common[0].dof == pytest.approx(13.0, rel=1e-4)


def test_what_the_test_could_have_seen_is_told_by_f():
    assert seen(np.array([2.0, 2.0])) == pytest.approx(np.sqrt(39.0 * 4.0), rel=1e-6)
    power = 1.0 - stats.f.cdf(stats.f.ppf(0.975, 3, 9) / seen(np.array([3.0, 9.0])) ** 2, 3, 9)
    assert power == pytest.approx(0.8, rel=1e-6)
    assert bartlett(np.array([2.0, 2.0])) == pytest.approx(1.25)


def test_only_groups_whose_layouts_tell_the_same_scatters_apart_are_pooled():
    def layout(*names):
        n = len(names)
        zero = np.zeros(n)
        return Estimate(
            np.ones(1), np.eye(1), names, zero, np.zeros((n, 1, 1)), zero, zero, zero, np.eye(n)
        )

    whole, once, single = layout("pack", "run", "misfit"), layout("pack", "misfit"), layout("run")
    assert alike([whole, once, whole, single]) == [0, 2]
    assert alike([once, whole]) == [1]
    assert alike([once, whole, once]) == [0, 2]
    assert alike([single, single]) == []


def test_by_default_nothing_changes_but_that_both_intervals_are_known(points, own):
    alone = fit_group(split(points, "kinetic")[PLAIN], PLAIN, REFERENCE, laws=["log-speed"])
    fit = own[PLAIN]
    assert np.array_equal(fit.estimate.covariance, alone.estimate.covariance)
    assert fit.scatter == alone.scatter
    assert fit.notices == alone.notices
    assert not fit.pooling.used
    told = fit.predict(at(REFERENCE))
    assert fit.pooling.own.next_pack_high == told.next_pack_high[0]
    assert fit.pooling.pooled.next_pack_high != told.next_pack_high[0]


def test_asked_for_both_groups_rest_on_one_scatter(own, pooled):
    (kinds,) = {tuple(part.kind for part in fit.pooling.common) for fit in pooled.values()}
    assert kinds == ("pack", "run", "misfit")
    assert {fit.scatter.pack for fit in pooled.values()} == {
        np.sqrt(pooled[PLAIN].pooling.common[0].variance)
    }
    for group, fit in pooled.items():
        assert fit.pooling.used
        assert fit.estimate.dof[0] == pytest.approx(3.0, abs=0.02)  # 2 + 1
        told = fit.predict(at(REFERENCE))
        assert fit.pooling.pooled.mean_low == told.mean_low[0]
        assert fit.pooling.own == own[group].pooling.own
        assert fit.pooling.pooled == own[group].pooling.pooled
        assert fit.scatter.pack < fit.scatter.pack_limit < 1.0
        assert any("taken from 2 groups together" in str(n) for n in fit.notices)


def test_the_pooled_interval_is_that_of_the_common_mean_square(pooled):
    """t of the degrees of freedom of both, on the scatter; z on what is known."""
    fit = pooled[ROUGH]
    gradient = fit.form.jacobian(at(REFERENCE), fit.theta, REFERENCE)
    parts = fit.estimate.estimated_parts(gradient)[0]
    known = fit.estimate.variance(gradient)[0] - parts.sum()
    t = stats.t.ppf(0.975, fit.estimate.dof[0])
    narrow = np.sqrt(t**2 * parts[0] + 1.96**2 * (known + parts[1:].sum()))
    assert fit.estimate.half_width(gradient)[0] == pytest.approx(narrow, rel=0.03)


def test_a_ratio_follows_the_choice_of_its_fits(points, own, pooled):
    groups = split(points, "kinetic")
    apart, together = (fit_pair(groups, fits, ROUGH, PLAIN) for fits in (own, pooled))
    assert apart.estimate.components[:2] == ("pack 0", "pack 1")
    assert together.estimate.components == ("pack", "run", "misfit")
    common = pooled[PLAIN].pooling.common
    assert together.estimate.variances == pytest.approx([part.variance for part in common])
    assert together.estimate.dof == pytest.approx([part.dof for part in common])
    (ratio,) = compare_groups(points, pooled, baseline="plain", reference=REFERENCE)
    assert ratio.low[0] < 1.0 < ratio.high[0]


def test_budgets_know_the_degrees_of_freedom_of_all_groups(points, pooled):
    fit = pooled[ROUGH]
    assert fit_solution(points, fit).estimate.dof == pytest.approx(fit.estimate.dof)
    budget = fit_budget(points, fit, at(REFERENCE))
    told = fit.predict(at(REFERENCE))
    assert budget.low == pytest.approx(told.mean_low[0], rel=1e-9)


def test_a_scatter_that_differs_is_not_pooled_and_named():
    alike_but_packs = replace(Truth(material="plain", packs=8), runs=(3, 3), points=(6, 6))
    points = points_of(
        2,
        plain=replace(alike_but_packs, pack_sd=0.002),
        rough=replace(alike_but_packs, material="rough", pack_sd=0.05),
    )
    fits = fitted(points, pool_scatter=True)
    for fit in fits.values():
        (test,) = (test for test in fit.pooling.tests if test.kind == "pack")
        assert test.speaks_against
        assert "pack" not in {part.kind for part in fit.pooling.common}
        assert any("scatter between packs not taken" in str(n) for n in fit.notices)
    assert fits[ROUGH].scatter.pack > 5 * fits[PLAIN].scatter.pack


def test_a_single_pack_gains_nothing_from_others():
    rng = np.random.default_rng(5)
    lone = drawn(Truth(material="worn", packs=1), rng)
    fits = fitted(concatenate([two(5), lone]), pool_scatter=True)
    fit = fits[Group("worn", "new")]
    assert fit.pooling is None
    assert np.isnan(fit.predict(at(REFERENCE)).next_pack_low[0])
    assert any("scatter not pooled: no other group" in str(n) for n in fit.notices)
    assert fits[PLAIN].pooling.used


@pytest.mark.parametrize("which", ["own", "pooled"])
def test_the_choice_survives_json(request, which):
    fits = request.getfixturevalue(which)
    back, _ = fits_from_dict(json.loads(json.dumps(fits_to_dict(fits), allow_nan=False)))
    for group, fit in fits.items():
        assert back[group].pooling == fit.pooling
        assert np.array_equal(back[group].estimate.dof, fit.estimate.dof)
        assert back[group].notices == fit.notices
