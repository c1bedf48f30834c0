"""Derivatives and deletion formulas of the restricted likelihood."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from rigdata.friction.leave_out import leave_out_scores
from rigdata.friction.mixed_model import Component, MixedModel, profile, sensitivity

VARIANCES = np.array([0.5, 0.3, 0.2])


def model(seed: int = 4) -> MixedModel:
    rng = np.random.default_rng(seed)
    n = 30
    pack, run = np.repeat(np.eye(3), 10, axis=0), np.repeat(np.eye(6), 5, axis=0)
    return MixedModel(
        rng.normal(size=n),
        np.stack([np.ones(n), np.tile(np.arange(10.0), 3)], axis=1),
        rng.uniform(0.1, 0.3, n),
        rng.normal(size=(n, 2)),
        (
            Component("pack", factors=pack),
            Component("run", factors=run),
            Component("misfit", weights=rng.uniform(0.8, 1.2, n)),
        ),
    )


def test_score_is_the_slope_of_the_restricted_likelihood():
    here = profile(model(), VARIANCES)
    for i in range(3):
        step = np.zeros(3)
        step[i] = 1e-5
        above, below = profile(model(), VARIANCES + step), profile(model(), VARIANCES - step)
        slope = (above.restricted - below.restricted) / 2e-5
        assert here.score[i] == pytest.approx(slope, rel=1e-6)


def test_sensitivity_is_the_slope_of_the_covariance():
    found = sensitivity(model(), profile(model(), VARIANCES))
    for i in range(3):
        step = np.zeros(3)
        step[i] = 1e-5
        above, below = profile(model(), VARIANCES + step), profile(model(), VARIANCES - step)
        slope = (above.covariance - below.covariance) / 2e-5
        assert found[i] == pytest.approx(slope, rel=1e-6, abs=1e-9)


def test_leaving_out_agrees_with_a_dense_prediction():
    base = model()
    v = np.diag(base.diagonal) + base.shared @ base.shared.T
    for s, part in zip(VARIANCES, base.components, strict=True):
        own = np.diag(part.weights) if part.factors is None else part.factors @ part.factors.T
        v = v + s * own
    rows = np.arange(10, 20)
    rest = np.setdiff1d(np.arange(30), rows)
    y, x = base.residual, base.design
    vi = np.linalg.inv(v[np.ix_(rest, rest)])
    cross = v[np.ix_(rows, rest)] @ vi
    phi = np.linalg.inv(x[rest].T @ vi @ x[rest])
    beta = phi @ x[rest].T @ vi @ y[rest]
    lever = x[rows] - cross @ x[rest]
    mean = x[rows] @ beta + cross @ (y[rest] - x[rest] @ beta)
    spread = v[np.ix_(rows, rows)] - cross @ v[np.ix_(rest, rows)] + lever @ phi @ lever.T
    expected = stats.multivariate_normal(mean, spread).logpdf(y[rows])
    assert leave_out_scores(profile(base, VARIANCES), [rows]) == pytest.approx([expected], rel=1e-9)


def test_a_set_without_which_the_parameters_are_lost_has_no_score():
    base = model()
    only_here = np.zeros((30, 1))
    only_here[10:20] = 1.0
    lonely = replace(base, design=np.concatenate([base.design, only_here], axis=1))
    scores = leave_out_scores(profile(lonely, VARIANCES), [np.arange(10, 20), np.arange(20, 30)])
    assert np.isnan(scores[0])
    assert np.isfinite(scores[1])


def test_a_covariance_that_is_not_positive_has_no_likelihood():
    bare = replace(model(), diagonal=np.zeros(30))
    assert profile(bare, np.array([0.5, 0.3, 0.0])) is None


def test_a_curve_that_overflows_has_no_likelihood():
    """Parameters far off must end in a failed fit, not in an error of linear algebra."""
    model = MixedModel(
        residual=np.ones(4),
        design=np.ones((4, 1)),
        diagonal=np.ones(4),
        shared=np.full((4, 2), np.inf),
        components=(),
    )
    with np.errstate(invalid="ignore"):
        assert profile(model, np.zeros(0)) is None


def test_a_parameter_that_moves_nothing_has_no_likelihood():
    """Where mu_s meets mu_k, the speed of the fall between them says nothing."""
    bare = replace(model(), design=np.stack([np.ones(30), np.zeros(30)], axis=1))
    assert profile(bare, VARIANCES) is None
