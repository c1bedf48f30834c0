"""Upper limits of scatter against closed forms and dense likelihoods."""

import numpy as np
import pytest
from friction_points import REFERENCE, THETA, Truth, drawn
from scipy import optimize, stats

from rigdata.friction.columns import dense_columns
from rigdata.friction.estimate import Estimate
from rigdata.friction.fit import fit_campaign
from rigdata.friction.mixed_model import Component, MixedModel, sensitivity
from rigdata.friction.scatter_limits import growth, threshold, upper_limits
from rigdata.friction.variance_components import mean_squares, restricted_variances

PACKS, EACH = 4, 5
NAMES = ("pack", "misfit")


def one_way(seed, pack_sd, *, known=None):
    """A mean over packs; the spread within packs is `known` or a component of its own."""
    rng = np.random.default_rng(seed)
    pack = np.repeat(np.eye(PACKS), EACH, axis=0)
    y = pack @ rng.normal(0.0, pack_sd, PACKS) + rng.normal(size=PACKS * EACH)
    components = (Component("pack"), Component("misfit", weights=np.ones(y.size)))
    if known is not None:
        components = components[:1]
    diagonal = np.full(y.size, known or 0.0)
    columns = dense_columns(np.zeros((y.size, 0)), pack)
    return MixedModel(y, np.ones((y.size, 1)), diagonal, columns, components)


def solved(model):
    names = NAMES[: len(model.components)]
    variances, at, converged = restricted_variances(model, np.ones(len(names)))
    assert converged
    return Estimate(
        at.step,
        at.covariance,
        names,
        variances,
        sensitivity(model, at),
        *mean_squares(at, variances, names),
    )


def restricted(model, variances):
    """The restricted log likelihood with full n x n matrices."""
    n = model.residual.size
    pack = np.repeat(np.eye(PACKS), EACH, axis=0)
    v = np.diag(model.diagonal) + variances[0] * pack @ pack.T
    v += sum(variances[1:]) * np.eye(n)
    vi = np.linalg.inv(v)
    xvx = model.design.T @ vi @ model.design
    p = vi - vi @ model.design @ np.linalg.solve(xvx, model.design.T @ vi)
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(xvx)[1]
    fall = logs + model.residual @ p @ model.residual
    return -0.5 * (fall + (n - 1) * np.log(2 * np.pi))


def test_with_many_degrees_of_freedom_the_rule_is_the_mixture_of_chi_squares():
    mixture = stats.chi2.ppf(0.90, 1)  # half of it lies at 0
    assert threshold(1e4) == pytest.approx(mixture, rel=1e-2)
    assert threshold([2.0, 5.0]) == pytest.approx([4.0430, 3.5136], abs=1e-4)


def test_a_mean_square_has_the_exact_limit_of_chi_square():
    """With the spread within packs known, ``nu m / (s + w)`` is chi-square."""
    within = 1.0 / EACH
    for seed in range(5):
        model = one_way(seed, 2.0, known=1.0)
        means = model.residual.reshape(PACKS, EACH).mean(axis=1)
        exact = (PACKS - 1) * np.var(means, ddof=1) / stats.chi2.ppf(0.05, PACKS - 1) - within
        assert upper_limits(model, solved(model)) == pytest.approx([exact], rel=1e-3)


@pytest.mark.parametrize("pack_sd", [0.0, 1.5])
def test_the_likelihood_has_fallen_by_the_threshold_at_each_limit(pack_sd):
    model = one_way(7, pack_sd)
    estimate = solved(model)
    assert (estimate.variances[0] == 0.0) == (pack_sd == 0.0)
    best = restricted(model, estimate.variances)
    for i, limit in enumerate(upper_limits(model, estimate)):

        def other_at_best(log_other, i=i, limit=limit):
            other = np.exp(log_other)
            return -restricted(model, (limit, other) if i == 0 else (other, limit))

        there = -optimize.minimize_scalar(other_at_best, bounds=(-25, 5), method="bounded").fun
        assert limit > estimate.variances[i]
        assert 2 * (best - there) == pytest.approx(threshold(estimate.dof[i]), abs=1e-3)


def test_limits_hold_the_true_components():
    """36 limits of 95 %: more than five misses are less likely than one in a hundred."""
    truth = Truth(packs=4, pack_sd=0.01, run_sd=0.01, misfit_sd=0.01)
    held = []
    for seed in range(12):
        points = drawn(truth, np.random.default_rng(seed))
        (fit,) = fit_campaign(points, REFERENCE, laws=["log-speed"]).values()
        s = fit.scatter
        assert s.pack_limit > s.pack
        held += [limit >= 0.01 for limit in (s.pack_limit, s.run_limit, s.misfit_limit)]
    assert np.sum(held) >= 31


def test_a_spread_of_zero_is_told_with_what_it_may_be():
    points = drawn(Truth(pack_sd=0.0, run_sd=0.0), np.random.default_rng(1))
    (fit,) = fit_campaign(points, REFERENCE, laws=["log-speed"]).values()
    assert 0.0 in (fit.scatter.pack, fit.scatter.run)
    assert 0.0005 < fit.scatter.run_limit < 0.01


def test_one_pack_has_no_limit_of_packs():
    (fit,) = fit_campaign(drawn(Truth(packs=1), np.random.default_rng(1)), REFERENCE).values()
    assert fit.scatter.pack_limit is None
    assert fit.scatter.run_limit > fit.scatter.run


def test_a_law_with_as_many_terms_as_runs_is_set_aside():
    """Six runs, and six terms of temperature and pressure that follow every one of them."""
    truth = Truth(law="quadratic", theta=THETA["quadratic"], layout=((12, 14), (9, 13), (12, 9)))
    points = drawn(truth, np.random.default_rng(3))
    (asked,) = fit_campaign(points, REFERENCE, laws=["quadratic"]).values()
    (score,) = asked.ranking
    assert not score.identified
    assert "its terms follow every run" in score.reason
    assert asked.scatter.run is None
    assert any("quadratic law taken although" in n.what for n in asked.notices)
    (free,) = fit_campaign(points, REFERENCE, laws=["quadratic", "log-speed"]).values()
    assert free.law == "log-speed"
    assert free.scatter.run_limit > 0.0


def test_growth_of_one_degree_of_freedom_is_that_of_a_single_normal():
    assert growth([0.3, 1.0]) == pytest.approx(stats.norm.ppf(0.525) ** -2.0, rel=1e-9)
