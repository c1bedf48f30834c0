"""Weighted refits against a general minimiser, and what they say of fits right and wrong."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.bootstrap import (
    MU,
    bootstrap_fits,
    bootstrap_notices,
    bootstraps_of,
    drawn_weights,
    expected_spread,
)
from rigdata.friction.budget import fit_solution
from rigdata.friction.design import conditions_of
from rigdata.friction.fit import fit_campaign
from rigdata.friction.laws.knots import knots_of
from rigdata.friction.refits import refitted, units_of
from tests.friction.by_lmfit import minimised

EVEN = ((12,) * 4,) * 4
LAWS = ["log-speed", "stribeck", "quadratic", "hersey"]


def fitted(truth: Truth, seed: int = 1, points=None):
    points = drawn(truth, np.random.default_rng(seed)) if points is None else points
    (fit,) = fit_campaign(points, REFERENCE, laws=[truth.law], oil=OIL).values()
    return points, fit


@pytest.fixture(scope="module", params=LAWS)
def solved(request):
    law = request.param
    uneven = ((6, 9, 12), (12, 12), (7, 8, 9, 20), (10, 15, 11))
    points, fit = fitted(Truth(law=law, theta=THETA[law], layout=uneven))
    return fit_solution(points, fit)


def within_and_shared(solution, kind):
    """Dense covariance of what lies within single units, (n, n), and the other columns, (n, m)."""
    model, variances = solution.model, solution.estimate.variances
    columns = model.columns.dense(model.scale(variances))
    names = getattr(solution.points, kind)
    units = [np.flatnonzero(names == name) for name in np.unique(names)]
    alone = np.array(
        [any(set(np.flatnonzero(c)) <= set(own.tolist()) for own in units) for c in columns.T]
    )
    own = np.diag(model.variance(variances)) + columns[:, alone] @ columns[:, alone].T
    return units, own, columns[:, ~alone]


def converged(solution, kind, weights):
    """The refit by lmfit, all covariances dense and nothing of it taken over."""
    units, own, shared = within_and_shared(solution, kind)
    covariance = shared @ shared.T
    for members, weight in zip(units, weights, strict=True):
        covariance[np.ix_(members, members)] += own[np.ix_(members, members)] / weight
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    return minimised(solution, lambda left: root @ left, ftol=1e-14, xtol=1e-14, gtol=0.0)


@pytest.mark.parametrize("kind", ["pack", "run"])
def test_weights_of_one_give_the_fit_back(solved, kind):
    units = units_of(solved, kind)
    same = refitted(solved, units, np.ones((2, len(units))))
    assert same.settled.all()
    assert same.theta == pytest.approx(np.array([solved.estimate.theta] * 2), rel=1e-9)


@pytest.mark.parametrize("kind", ["pack", "run"])
def test_refits_are_those_of_a_general_minimiser(solved, kind):
    units = units_of(solved, kind)
    weights = drawn_weights(3, len(units), seed=4)
    u = np.sqrt(np.diag(solved.estimate.covariance))
    found = refitted(solved, units, weights)
    assert found.settled.all()
    for theta, own in zip(found.theta, weights, strict=True):
        other = converged(solved, kind, own)
        free = u > 0.0
        assert np.max(np.abs(theta - other)[free] / u[free]) < 1e-3
        assert np.max(np.abs(theta - solved.estimate.theta)[free] / u[free]) > 0.05


def test_refits_do_not_depend_on_those_beside_them(solved):
    units = units_of(solved, "run")
    weights = drawn_weights(90, len(units), seed=2)
    u = np.sqrt(np.diag(solved.estimate.covariance)) + 1e-300
    whole, alone = refitted(solved, units, weights), refitted(solved, units, weights[70:71])
    assert np.abs(whole.theta[70] - alone.theta[0]) / u == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("kind", ["pack", "run"])
def test_what_units_share_and_what_they_do_not_make_up_the_whole_variance(solved, kind):
    units, own, shared = within_and_shared(solved, kind)
    rows = solved.response[solved.free]
    gradient = np.eye(len(rows))
    part, expected, dof = expected_spread(solved, units_of(solved, kind), gradient)
    assert part**2 == pytest.approx(np.diag(rows @ own @ rows.T), rel=1e-9)
    rest = np.sum((rows @ shared) ** 2, axis=1)
    whole = np.diag(solved.estimate.covariance)[solved.free]
    assert part**2 + rest == pytest.approx(whole, rel=1e-9)
    assert np.all(expected < part)
    assert np.all((dof > 0.0) & (dof <= len(units)))


def test_the_spread_to_be_expected_is_that_of_fits_to_points_drawn_from_the_fit():
    """Points drawn from the fit's own covariance, refitted with random weights."""
    points, fit = fitted(Truth(layout=EVEN, gain_u=0.002))
    solution = fit_solution(points, fit)
    units, rng = units_of(solution, "run"), np.random.default_rng(3)
    model, variances = solution.model, solution.estimate.variances
    whole = model.times(np.eye(len(points)), variances)
    root = np.linalg.cholesky(whole)
    gradient = np.eye(int(np.count_nonzero(solution.free)))
    _, expected, _ = expected_spread(solution, units, gradient)
    found = []
    for seed in range(80):
        mu = solution.design.fitted(solution.estimate.theta) + root @ rng.normal(size=len(points))
        weights = 1.0 + 0.2 * (drawn_weights(60, len(units), seed) - 1.0)  # of the first order
        theta = refitted_about(solution, units, mu, weights)
        found.append(np.var(theta[:, solution.free], axis=0, ddof=1))
    # 80 spreads of 7 degrees of freedom or more: a standard error of 3 %.
    assert 5.0 * np.sqrt(np.mean(found, axis=0)) / expected == pytest.approx(1.0, abs=0.1)


def refitted_about(solution, units, mu, weights):
    """Refits of other coefficients under the same covariance."""
    moved = replace(solution, design=replace(solution.design, mu=mu))
    return refitted(moved, units, weights).theta


def test_a_right_fit_is_seldom_doubted():
    ratios, doubted = [], 0
    for seed in range(12):
        points, fit = fitted(Truth(layout=((8,) * 4,) * 5), seed)
        for one in bootstraps_of(points, fit, refits=200):
            ratios += [spread.ratio for spread in one.spreads]
            doubted += sum(spread.beyond_chance for spread in one.spreads)
    assert len(ratios) == 12 * 2 * 4
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(1.0, abs=0.12)
    assert doubted <= 2


def test_runs_that_follow_the_speed_each_in_their_own_way_are_found():
    """The fit takes runs to differ by a factor; here the slope in ln v differs as well."""
    points = drawn(Truth(layout=EVEN), np.random.default_rng(5))
    _, run = np.unique(points.run, return_inverse=True)
    tilt = np.random.default_rng(6).normal(0.0, 0.01, run.max() + 1)[run]
    other = replace(points, mu=points.mu * (1.0 + tilt * np.log(points.slip_speed_m_s / 0.1)))
    _, fit = fitted(Truth(), points=other)
    tried, told = bootstrap_fits(other, [fit], 300)
    by_run = {
        spread.quantity: spread for one in tried for spread in one.spreads if one.unit == "run"
    }
    assert by_run["a"].beyond_chance
    assert by_run["a"].ratio > 2.0
    # What the refits show is the standard error that the slopes drawn have.
    true = 0.12 * 0.01 / 4.0
    assert by_run["a"].found == pytest.approx(true, rel=0.5)
    assert by_run["a"].u < 0.5 * true
    assert any(n.severity.value == "warning" and n.what.startswith("a scatters") for n in told)
    assert not any(n.what.startswith(MU) for n in told)


def test_uncertainties_stated_far_too_large_are_found():
    points = drawn(Truth(layout=EVEN, run_sd=0.0, pack_sd=0.0), np.random.default_rng(7))
    wide = replace(points, u_random=points.u_random * 8.0)
    _, fit = fitted(Truth(), points=wide)
    tried = bootstraps_of(wide, fit, refits=300)
    assert all(
        spread.ratio < spread.low for one in tried for spread in one.spreads if one.unit == "run"
    )
    assert {notice.severity.value for notice in bootstrap_notices(tried)} == {"note"}


def test_few_packs_have_a_bootstrap_of_runs_alone_and_one_pack_of_few_runs_none():
    points, fit = fitted(Truth(layout=((10,) * 4,) * 3))
    assert [one.unit for one in bootstraps_of(points, fit, refits=100)] == ["run"]
    points, fit = fitted(Truth(layout=((10,) * 3,)))
    tried, told = bootstrap_fits(points, [fit], 100)
    assert not tried
    assert "3 runs are too few" in told[0].what


def test_a_surface_is_told_to_have_none():
    points, fit = fitted(Truth(layout=EVEN))
    surface = replace(fit, knots=knots_of(conditions_of(points)))
    tried, told = bootstrap_fits(points, [surface], 100)
    assert not tried
    assert "surface" in told[0].what


def test_the_same_seed_gives_the_same_refits():
    points, fit = fitted(Truth(layout=EVEN))
    once, again, other = (bootstraps_of(points, fit, refits=100, seed=s) for s in (1, 1, 2))
    assert once == again != other
    assert drawn_weights(5, 7, 1).mean(axis=1) == pytest.approx(1.0)
