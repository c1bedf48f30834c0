"""Bends, their smoothing and their bands against other ways of computing them.

A natural cubic spline over knots at all points is the smoothing spline (P. J. Green and
B. W. Silverman, Nonparametric Regression and Generalized Linear Models (1994), 2.2), for
which SciPy has a solver of its own.  The restricted likelihood and the Bayesian covariance
are written out here with full matrices, the bends as random effects (S. N. Wood,
Generalized Additive Models, 2nd ed. (2017), 3.5, 4.2.4), where the package has rows
below the points.
"""

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn
from scipy import interpolate, optimize

from rigdata.friction.design import Block, conditions_of
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.knots import knots_of
from rigdata.friction.laws.natural_spline import bending_energy, bends
from rigdata.friction.laws.surface import surface
from rigdata.friction.nesting import SOURCE


@pytest.mark.parametrize("smoothing", [1e-4, 1e-2, 1.0, 1e6])
def test_bends_over_all_points_are_the_smoothing_spline(smoothing):
    rng = np.random.default_rng(3)
    x = np.sort(rng.uniform(-3.0, 2.0, 25))
    y, weights = np.sin(2 * x) + 0.2 * rng.normal(size=25), rng.uniform(0.5, 2.0, 25)
    knots = tuple(x.tolist())
    matrix = np.column_stack([np.ones(25), x, bends(knots, x)])
    energy = bending_energy(knots) / (x[-1] - x[0]) ** 3
    penalty = np.diag([0.0, 0.0] + [smoothing * energy] * 23)
    coefficients = np.linalg.solve(
        matrix.T @ (weights[:, None] * matrix) + penalty, matrix.T @ (weights * y)
    )
    theirs = interpolate.make_smoothing_spline(x, y, weights, lam=smoothing)
    between = np.linspace(x[0], x[-1], 101)
    ours = np.column_stack([np.ones(101), between, bends(knots, between)]) @ coefficients
    assert ours == pytest.approx(theirs(between), rel=1e-6, abs=1e-7)


def test_energy_is_the_integral_of_the_squared_curvature():
    knots, coefficients = (0.0, 0.3, 1.1, 1.4, 2.0), np.array([0.7, -0.4, 0.2])
    x = np.linspace(0.0, 2.0, 20_001)
    curve = bends(knots, x) @ coefficients
    curvature = np.gradient(np.gradient(curve, x), x)
    by_sum = np.trapezoid(curvature[2:-2] ** 2, x[2:-2])
    expected = bending_energy(knots) * np.sum(coefficients**2) / 2.0**3
    assert by_sum == pytest.approx(expected, rel=1e-3)


def test_bends_go_on_straight():
    knots = (0.0, 0.3, 1.1, 1.4, 2.0)
    out = bends(knots, np.array([-2.0, -1.0, 0.0, 2.0, 3.0, 4.0]))
    assert out[0] - out[1] == pytest.approx(out[1] - out[2], rel=1e-12)
    assert out[5] - out[4] == pytest.approx(out[4] - out[3], rel=1e-12)


@pytest.fixture(scope="module")
def bumpy():
    """A fit to points whose law has a bump over slip speed."""
    points = drawn(Truth(bump=0.08, runs=(4, 4), points=(7, 7)), np.random.default_rng(2))
    law = surface(knots_of(conditions_of(points)))
    return joint_fit([Block("bumpy", points, law, {})], REFERENCE)


def dense(fit):
    """The linearised problem with its bends as random effects, in full matrices."""
    n, prior = fit.curve.size, fit.design.prior
    model = fit.design.linearised(fit.estimate.theta, fit.design.free)
    y = model.residual[:n] + model.design[:n] @ fit.estimate.theta
    drawn_towards_0 = np.zeros(fit.estimate.theta.size, dtype=bool)
    drawn_towards_0[prior.columns] = True
    fixed, bent = model.design[:n, ~drawn_towards_0], model.design[:n, prior.columns]
    slots = model.columns.slots
    columns = model.columns.dense(np.ones(sum(slots.widths)))[:n]
    sources = columns[:, slots.owner == SOURCE]
    known = np.diag(model.diagonal[:n]) + sources @ sources.T
    parts = []
    for i, part in enumerate(model.components):
        if part.prior:
            own = bent[:, part.weights[n:] > 0.0]
        elif part.weights is not None:
            own = np.diag(np.sqrt(part.weights[:n]))
        else:
            own = columns[:, slots.owner == i]
        parts.append(own @ own.T)
    return y, fixed, bent, known, parts


def restricted(variances, y, fixed, known, parts):
    v = known + sum(s * part for s, part in zip(variances, parts, strict=True))
    inverse = np.linalg.inv(v)
    inner = fixed.T @ inverse @ fixed
    beta = np.linalg.solve(inner, fixed.T @ inverse @ y)
    rest = y - fixed @ beta
    logdets = np.linalg.slogdet(v)[1] + np.linalg.slogdet(inner)[1]
    return -0.5 * (logdets + rest @ inverse @ rest)


def test_smoothing_and_scatter_are_where_the_restricted_likelihood_is_greatest(bumpy):
    y, fixed, _, known, parts = dense(bumpy)
    found = np.concatenate([bumpy.estimate.variances, bumpy.estimate.smoothing])
    at_ours = restricted(found, y, fixed, known, parts)
    acting = np.flatnonzero(found > 0.0)

    def loss(logs):
        variances = np.zeros(found.size)
        variances[acting] = np.exp(logs)
        return -restricted(variances, y, fixed, known, parts)

    start = np.log(found[acting]) + np.random.default_rng(1).normal(0.0, 0.4, acting.size)
    theirs = optimize.minimize(loss, start, method="Nelder-Mead", options={"maxiter": 4000})
    assert at_ours >= -theirs.fun - 1e-6
    assert np.log(found[acting]) == pytest.approx(theirs.x, abs=0.02)
    for i in np.flatnonzero(found == 0.0):  # and those at 0 would not gain by rising
        raised = found.copy()
        raised[i] = 1e-8
        assert restricted(raised, y, fixed, known, parts) <= at_ours + 1e-9


def test_curve_and_bands_are_those_of_best_linear_prediction(bumpy):
    y, fixed, bent, known, parts = dense(bumpy)
    estimate, prior = bumpy.estimate, bumpy.design.prior
    v = known + sum(s * part for s, part in zip(estimate.variances, parts, strict=False))
    inverse = np.linalg.inv(v)
    whole = np.concatenate([fixed, bent], axis=1)
    pull = np.zeros(whole.shape[1])
    pull[fixed.shape[1] :] = 1.0 / np.maximum(estimate.smoothing[prior.smooth], 1e-10)
    covariance = np.linalg.inv(whole.T @ inverse @ whole + np.diag(pull))
    theta = covariance @ whole.T @ inverse @ y
    order = [*np.setdiff1d(np.arange(estimate.theta.size), prior.columns), *prior.columns]
    assert whole @ estimate.theta[order] == pytest.approx(whole @ theta, rel=1e-6)
    ours = whole @ estimate.covariance[np.ix_(order, order)]
    spread = np.sum(ours * whole, axis=1)
    assert spread == pytest.approx(np.sum((whole @ covariance) * whole, axis=1), rel=1e-4)
    effective = np.trace(covariance @ whole.T @ inverse @ whole)
    assert bumpy.effective_parameters == pytest.approx(effective, abs=1e-3)
