"""Outliers planted in clean points must neither steer the fit nor vanish."""

import json
from dataclasses import replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn, spoiled
from scipy import sparse

from rigdata.comparison.ratios import compare_groups
from rigdata.comparison.traits import static_ratios
from rigdata.friction.allowances import (
    ALLOWANCE,
    point_weights,
    with_allowances,
    without_allowances,
)
from rigdata.friction.budget import budget_at_reference, fit_budget, fit_solution
from rigdata.friction.candidates import candidates
from rigdata.friction.conditions import at
from rigdata.friction.fit import fit_campaign
from rigdata.friction.fits_file import fits_from_dict, fits_to_dict
from rigdata.friction.laws.registry import law, laws_for
from rigdata.friction.pack_levels import pack_levels
from rigdata.friction.results import Group
from rigdata.friction.robust import rank_robustly
from rigdata.friction.selection import choose
from rigdata.friction.static import fit_static
from rigdata.friction.what_if import more_packs
from rigdata.reduction.points import concatenate

NEW = Group("rough", "new")
TWELVE = Truth(runs=(4, 4))


def clean(seed=1, **changes):
    return drawn(replace(TWELVE, **changes), np.random.default_rng(seed))


def fit_of(points, laws=("log-speed",)):
    return fit_campaign(points, REFERENCE, laws=laws)[NEW]


def quoted(fit):
    return fit.predict(at(REFERENCE))


def shift(fit, other):
    """By how many of its standard uncertainties the first is off the second."""
    return abs(quoted(other).mu[0] - quoted(fit).mu[0]) / quoted(other).u_mu[0]


def names(fit):
    return [outlier.name for outlier in fit.outliers]


def run_of(points, number):
    return points.run == np.unique(points.run)[number]


@pytest.fixture(scope="module")
def base():
    points = clean()
    return points, fit_of(points)


@pytest.mark.parametrize(
    ("number", "factor"),
    [(0, 1.1), (1, 0.9), (3, 1.3), (4, 0.7), (5, 3.0), (7, 1.1), (8, 0.9), (10, 1.3), (11, 3.0)],
)
def test_one_outlying_run_of_twelve_is_named_and_hardly_counts(base, number, factor):
    points, before = base
    fit = fit_of(spoiled(points, run_of(points, number), factor))
    assert names(fit) == [np.unique(points.run)[number]]
    (outlier,) = fit.outliers
    assert outlier.deviation == pytest.approx(factor - 1.0, abs=0.05 * factor)
    assert outlier.weight < 0.2
    assert shift(fit, before) < 0.5
    widths = [quoted(f).mean_high[0] - quoted(f).mean_low[0] for f in (fit, before)]
    assert 0.7 < widths[0] / widths[1] < 1.5
    assert any(f"run {outlier.name} of pack" in str(notice) for notice in fit.notices)


@pytest.mark.parametrize("factor", [1.1, 0.7])
def test_two_outlying_runs_are_named_and_hardly_count(base, factor):
    points, before = base
    both = run_of(points, 2) | run_of(points, 9)
    fit = fit_of(spoiled(points, both, factor))
    assert names(fit) == sorted(set(points.run[both].tolist()))
    assert shift(fit, fit_of(points.select(~both))) < 0.3
    assert shift(fit, before) < 1.0  # what ten runs say is not what twelve say


def test_a_burst_of_points_is_named_and_hardly_counts(base):
    points, before = base
    burst = np.zeros(len(points), dtype=bool)
    burst[np.flatnonzero(run_of(points, 6))[3:8]] = True
    fit = fit_of(spoiled(points, burst, 1.5))
    assert sorted(names(fit)) == sorted(points.point[burst].tolist())
    assert all(outlier.weight < 0.01 for outlier in fit.outliers)
    assert shift(fit, before) < 0.1
    assert any("5 points of run" in str(n) and "stick-slip" in str(n) for n in fit.notices)


def test_a_load_dropped_at_the_end_of_a_run_is_named_and_hardly_counts(base):
    points, before = base
    end = np.zeros(len(points), dtype=bool)
    end[np.flatnonzero(run_of(points, 6))[-4:]] = True
    fit = fit_of(spoiled(points, end, 0.6))
    assert sorted(names(fit)) == sorted(points.point[end].tolist())
    assert {outlier.may_be for outlier in fit.outliers} == {
        "a load that dropped, or heat, at the end of the run"
    }
    assert shift(fit, before) < 0.1


def test_an_outlying_pack_is_not_counted_less(base):
    points, _ = base
    fit = fit_of(spoiled(points, points.pack == "rough-new-2", 1.2))
    assert fit.outliers == ()
    assert fit.scatter.pack > 0.05


@pytest.mark.parametrize("name", ["log-speed", "stribeck"])
def test_an_outlying_run_buys_no_other_law(name):
    points = clean(law=name, theta=THETA[name])
    fits = [
        fit_campaign(told, REFERENCE, oil=OIL)[NEW]
        for told in (points, spoiled(points, run_of(points, 5), 1.3))
    ]
    assert [fit.law for fit in fits] == [name, name]
    assert names(fits[1]) == [np.unique(points.run)[5]]
    assert shift(fits[1], fits[0]) < 0.5


def test_clean_points_are_fitted_as_ever_to_the_last_bit():
    laws = [law(name, OIL) for name in laws_for(OIL)]
    for seed in range(2):
        points = clean(seed)
        choice = rank_robustly("x", points, laws, REFERENCE)
        plain = choose("x", points, candidates("x", points, laws, REFERENCE))
        assert choice.outliers == ()
        assert choice.ranking.scores == plain.scores
        assert np.array_equal(
            choice.ranking.chosen.fit.estimate.theta, plain.chosen.fit.estimate.theta
        )
        assert np.array_equal(
            choice.ranking.chosen.fit.estimate.covariance, plain.chosen.fit.estimate.covariance
        )


def test_weights_do_not_depend_on_the_order_or_the_size_of_the_numbers(base):
    points, _ = base
    told = spoiled(points, run_of(points, 5), 1.1)
    order = np.random.default_rng(1).permutation(len(points))
    doubled = replace(
        told,
        mu=2.0 * told.mu,
        u_random=2.0 * told.u_random,
        contributions=sparse.csr_array(2.0 * told.contributions),
    )
    weights = [fit_of(p).outliers[0].weight for p in (told, told.select(order), doubled)]
    assert weights[1] == pytest.approx(weights[0], rel=1e-6)
    assert weights[2] == pytest.approx(weights[0], rel=1e-6)


def test_the_weight_falls_steadily_from_one(base):
    points, _ = base
    found = []
    for factor in (1.02, 1.06, 1.1, 1.3):
        fit = fit_of(spoiled(points, run_of(points, 5), factor))
        found.append(fit.outliers[0].weight if fit.outliers else 1.0)
    assert found[0] == 1.0
    assert np.all(np.diff(found) < 0.0)
    assert found[-1] < 0.01


def test_an_allowance_brings_its_weight(base):
    """A run with the allowance counts as its weight says, next to one like the others."""
    points, _ = base
    fit = fit_of(spoiled(points, run_of(points, 5), 1.1))
    (outlier,) = fit.outliers
    ordinary = outlier.u**2
    assert ordinary / (ordinary + outlier.allowance**2) == pytest.approx(outlier.weight)
    weights = point_weights(points, fit.outliers)
    assert set(weights[run_of(points, 5)]) == {outlier.weight}
    assert np.all(weights[~run_of(points, 5)] == 1.0)


def test_allowances_can_be_taken_off_again(base):
    points, _ = base
    fit = fit_of(spoiled(points, run_of(points, 5), 1.1))
    allowed = with_allowances(points, fit.outliers)
    assert len(allowed.sources) == len(points.sources) + 1
    back = without_allowances(allowed)
    assert back.sources == points.sources
    assert abs(back.contributions - points.contributions).max() == 0.0


def test_outliers_survive_json(base):
    points, _ = base
    burst = np.arange(len(points)) == 30
    told = spoiled(spoiled(points, run_of(points, 5), 1.1), burst, 1.5)
    kinetic = fit_campaign(told, REFERENCE, laws=["log-speed"])
    assert len(kinetic[NEW].outliers) == 2
    text = json.dumps(fits_to_dict(kinetic), allow_nan=False)
    back, _ = fits_from_dict(json.loads(text))
    assert back[NEW].outliers == kinetic[NEW].outliers
    (entry,) = json.loads(text)["kinetic"]
    assert [o["weight"] for o in entry["outliers"]] == [o.weight for o in back[NEW].outliers]


def test_an_outlier_is_no_pull(base):
    points, _ = base
    fit = fit_of(spoiled(points, run_of(points, 5), 1.3))
    assert not any(name.startswith(ALLOWANCE) for name in fit.pulls)


@pytest.fixture(scope="module")
def pair():
    """Two materials on one calibration, clean, and with an outlying run in one of them."""
    rng = np.random.default_rng(8)
    plain = drawn(replace(TWELVE, material="plain", theta=(0.10, -0.003, -0.0008, -0.06)), rng, 0.3)
    rough = drawn(TWELVE, rng, 0.3)
    told = spoiled(rough, run_of(rough, 5), 1.3)
    return [concatenate([plain, group]) for group in (rough, told)]


def test_a_comparison_is_not_steered_by_an_outlier(pair):
    ratios = []
    for points in pair:
        fits = fit_campaign(points, REFERENCE, laws=["log-speed"])
        ratios += compare_groups(points, fits, baseline="plain", reference=REFERENCE)
    before, after = ratios
    assert abs(after.ratio[0] - before.ratio[0]) < 0.5 * before.u_ratio[0]
    assert after.u_ratio[0] == pytest.approx(before.u_ratio[0], rel=0.2)


def test_a_static_ratio_is_not_steered_by_an_outlier():
    rng = np.random.default_rng(4)
    at_rest = drawn(replace(TWELVE, kind="static", law="constant", theta=(0.15,)), rng)
    moving = clean()
    found = []
    for told in (at_rest, spoiled(at_rest, run_of(at_rest, 5), 1.3)):
        points = concatenate([moving, told])
        kinetic = fit_campaign(points, REFERENCE, laws=["log-speed"])
        static, _ = fit_static(points, REFERENCE, laws=["constant"])
        found += static_ratios(points, kinetic, static, REFERENCE)
    assert abs(found[1].value - found[0].value) < 0.5 * found[0].u


def test_budgets_rest_on_the_weights(base):
    points, before = base
    told = spoiled(points, run_of(points, 5), 1.3)
    fit = fit_of(told)
    budget = fit_budget(told, fit, at(REFERENCE))
    assert budget.u == pytest.approx(quoted(fit).u_mu[0], rel=1e-9)
    assert np.sqrt(sum(c.effect**2 for c in budget.causes)) == pytest.approx(budget.u, rel=1e-9)
    (allowed,) = (c for c in budget.causes if c.name.startswith(ALLOWANCE))
    assert allowed.label == f"allowance for outlying run {fit.outliers[0].name}"
    assert budget.u == pytest.approx(fit_budget(points, before, at(REFERENCE)).u, rel=0.2)
    shares = [{s.cause: s.share for s in budget_at_reference(told, fit)}]
    assert shares[0]["outlier allowance"] < 0.05


def test_tests_to_come_hold_no_outliers(base):
    points, before = base
    told = spoiled(points, run_of(points, 5), 1.3)
    gains = [
        more_packs(fit_solution(p, fit), at(REFERENCE), 2).half_width
        for p, fit in ((points, before), (told, fit_of(told)))
    ]
    assert gains[1] == pytest.approx(gains[0], rel=0.2)


def test_pack_levels_rest_on_the_weights(base):
    points, before = base
    told = spoiled(points, run_of(points, 5), 1.3)
    one, other = pack_levels(points, {NEW: before}), pack_levels(told, {NEW: fit_of(told)})
    assert np.all(np.abs(other.mu / one.mu - 1.0) < 0.004)
