"""Derivatives and deletion formulas of the restricted likelihood."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse, stats

from rigdata.friction.columns import columns_of, dense_columns
from rigdata.friction.leave_out import leave_out_scores
from rigdata.friction.mixed_model import Component, MixedModel, profile, sensitivity

VARIANCES = np.array([0.5, 0.3, 0.2])
PACK, RUN = np.repeat(np.arange(3), 10), np.repeat(np.arange(6), 5)
OWNER = np.array([-1, -1, *[0] * 3, *[1] * 6])


def model(seed: int = 4) -> MixedModel:
    rng = np.random.default_rng(seed)
    n = 30
    residual, diagonal = rng.normal(size=n), rng.uniform(0.1, 0.3, n)
    return MixedModel(
        residual,
        np.stack([np.ones(n), np.tile(np.arange(10.0), 3)], axis=1),
        diagonal,
        columns_of(sparse.csr_array(dense(rng.normal(size=(n, 2)))), OWNER, PACK, RUN),
        (
            Component("pack"),
            Component("run"),
            Component("misfit", weights=rng.uniform(0.8, 1.2, n)),
        ),
    )


def dense(shared):
    """The columns of two sources, three packs and six runs."""
    return np.concatenate([shared, np.eye(3)[PACK], np.eye(6)[RUN]], axis=1)


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
    columns = base.columns.push(np.eye(OWNER.size)) * np.sqrt(np.append(VARIANCES, 1.0))[OWNER]
    v = np.diag(base.diagonal + VARIANCES[2] * base.components[2].weights) + columns @ columns.T
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
        columns=dense_columns(np.full((4, 2), np.inf)),
        components=(),
    )
    with np.errstate(invalid="ignore"):
        assert profile(model, np.zeros(0)) is None


def test_a_parameter_that_moves_nothing_has_no_likelihood():
    """Where mu_s meets mu_k, the speed of the fall between them says nothing."""
    bare = replace(model(), design=np.stack([np.ones(30), np.zeros(30)], axis=1))
    assert profile(bare, VARIANCES) is None
