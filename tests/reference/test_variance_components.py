"""Variance components against exact balanced results.

Sources: Dyestuff (O. L. Davies, Statistical Methods in Research and Production,
1947) and Dyestuff2 (G. E. P. Box and G. C. Tiao, Bayesian Inference in
Statistical Analysis, 1973).  The expected numbers follow from the mean squares
in closed form; GUM H.5 (JCGM 100:2008) is the third set.
"""

import numpy as np
import pytest
from scipy import sparse, stats

from rigdata.friction.columns import columns_of, dense_columns
from rigdata.friction.estimate import Estimate
from rigdata.friction.mixed_model import Component, MixedModel, sensitivity
from rigdata.friction.variance_components import mean_squares, restricted_variances

DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]
DYESTUFF2 = [
    [7.298, 3.846, 2.434, 9.566, 7.99],
    [5.22, 6.556, 0.608, 11.788, -0.892],
    [0.11, 10.386, 13.434, 5.51, 8.166],
    [2.212, 4.852, 7.092, 9.288, 4.98],
    [0.282, 9.014, 4.458, 9.446, 7.198],
    [1.722, 4.782, 8.106, 0.758, 3.758],
]


def one_way(table, order=None):
    """The one-way layout as a mixed model: a mean, a batch component and the rest."""
    values = np.array(table, dtype=float)
    batches, each = values.shape
    y = values.ravel()
    batch = np.repeat(np.arange(batches), each)
    if order is not None:
        y, batch = y[order], batch[order]
    n = y.size
    membership = sparse.csr_array(np.eye(batches)[batch])
    return MixedModel(
        residual=y,
        design=np.ones((n, 1)),
        diagonal=np.zeros(n),
        columns=columns_of(membership, [0] * batches, batch, batch),
        components=(
            Component("batch"),
            Component("rest", weights=np.ones(n)),
        ),
    )


def solve(model):
    spread = np.var(model.residual)
    variances, at, converged = restricted_variances(model, np.array([spread, spread]) / 2)
    assert converged
    return variances, at


def estimate_of(model, variances, at):
    names = ("batch", "rest")
    return Estimate(
        at.step,
        at.covariance,
        names,
        variances,
        sensitivity(model, at),
        *mean_squares(at, variances, names),
    )


def test_dyestuff_components_and_mean():
    variances, at = solve(one_way(DYESTUFF))
    assert np.sqrt(variances) == pytest.approx([42.0005952339, 49.5100999797], rel=1e-9)
    assert at.step == pytest.approx([1527.5], rel=1e-12)
    assert np.sqrt(at.covariance[0, 0]) == pytest.approx(19.3834121523, rel=1e-9)
    assert -2 * at.restricted == pytest.approx(319.654276842, rel=1e-9)


def test_dyestuff_interval_of_the_mean_has_five_degrees_of_freedom():
    model = one_way(DYESTUFF)
    estimate = estimate_of(model, *solve(model))
    # Between batches MSB / 5 with 5 degrees of freedom, within them MSW with 24.
    assert estimate.dof == pytest.approx([5.0, 24.0], rel=1e-8)
    assert estimate.mean_square == pytest.approx([11271.5 / 5, 2451.25], rel=1e-8)
    assert estimate.estimated == pytest.approx(estimate.mean_square, rel=1e-8)
    half = estimate.half_width(np.ones((1, 1)))
    assert 1527.5 + np.array([-1, 1]) * half == pytest.approx([1477.67335, 1577.32665], abs=1e-5)


def test_dyestuff2_has_a_batch_component_of_exactly_zero():
    variances, at = solve(one_way(DYESTUFF2))
    assert variances[0] == 0.0
    assert np.sqrt(variances[1]) == pytest.approx(3.71568427448, rel=1e-9)
    assert at.step == pytest.approx([5.6656], rel=1e-9)


def test_a_zero_component_keeps_the_degrees_of_freedom_of_the_batches():
    """Five, not the 29 that would follow if the component were forgotten."""
    model = one_way(DYESTUFF2)
    estimate = estimate_of(model, *solve(model))
    half = estimate.half_width(np.ones((1, 1)))
    u = np.sqrt(estimate.variance(np.ones((1, 1))))
    assert half / u == pytest.approx([stats.t.ppf(0.975, 5)], rel=1e-8)


def test_between_day_standard_resistor_voltages():
    """GUM H.5: ten days of five readings, here rebuilt from the daily means and sds."""
    means = 10.0 + 1e-6 * np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
    sds = 1e-6 * np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])
    shape = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
    shape /= shape.std(ddof=1)
    variances, at = solve(one_way((means[:, None] + sds[:, None] * shape - 10.0) * 1e6))
    assert np.sqrt(variances) == pytest.approx([42.6386, 84.88698], rel=1e-5)
    assert np.sqrt(at.covariance[0, 0]) == pytest.approx(18.0533, rel=1e-5)


def test_order_of_the_points_does_not_matter():
    order = np.random.default_rng(5).permutation(30)
    straight, shuffled = solve(one_way(DYESTUFF)), solve(one_way(DYESTUFF, order))
    assert shuffled[0] == pytest.approx(straight[0], rel=1e-9)


def test_score_and_information_agree_with_dense_algebra():
    """Against the textbook expressions with full n x n matrices (Searle et al., 6.6)."""
    rng = np.random.default_rng(8)
    n = 24
    effects, shared = rng.normal(size=(n, 4)), rng.normal(size=(n, 3))
    weights = rng.uniform(0.5, 2.0, n)
    model = MixedModel(
        rng.normal(size=n),
        np.stack([np.ones(n), rng.normal(size=n)], axis=1),
        rng.uniform(0.1, 0.3, n),
        dense_columns(shared, effects),
        (Component("a"), Component("b", weights=weights)),
    )
    s = np.array([0.7, 0.4])
    _, at, _ = restricted_variances(model, s, steps=0)
    parts = [effects @ effects.T, np.diag(weights)]
    v = np.diag(model.diagonal) + shared @ shared.T + s[0] * parts[0] + s[1] * parts[1]
    vi, x, y = np.linalg.inv(v), model.design, model.residual
    p = vi - vi @ x @ np.linalg.inv(x.T @ vi @ x) @ x.T @ vi
    score = [-0.5 * (np.trace(p @ k) - y @ p @ k @ p @ y) for k in parts]
    info = [[0.5 * np.trace(p @ k @ p @ m) for m in parts] for k in parts]
    assert at.score == pytest.approx(score, rel=1e-9)
    assert at.information == pytest.approx(np.array(info), rel=1e-9)
    beta = np.linalg.solve(x.T @ vi @ x, x.T @ vi @ y)
    assert at.step == pytest.approx(beta, rel=1e-9)
    full = stats.multivariate_normal(x @ beta, v).logpdf(y)
    assert at.full == pytest.approx(full, rel=1e-10)
