"""The least-squares engine on its own: bounds, failure, agreement of starts."""

import numpy as np
import pytest

from rigdata.friction.fitting import least_squares_fit

X = np.linspace(0.0, 4.0, 30)
NOISE = 0.01 * np.random.default_rng(0).normal(size=X.size)


def exponential(theta):
    return theta[0] * np.exp(-theta[1] * X)


def slopes(theta):
    decay = np.exp(-theta[1] * X)
    return np.stack([decay, -theta[0] * X * decay], axis=1)


def fit(y, starts, bounds=None):
    return least_squares_fit(
        lambda theta: exponential(theta) - y, slopes, starts, ["a", "b"], bounds
    )


def test_starts_agree_on_one_minimum():
    y = exponential([2.0, 0.7]) + NOISE
    found = fit(y, [np.array([1.0, 1.0]), np.array([5.0, 0.2]), np.array([0.5, 2.0])])
    assert found.converged
    assert found.n_agree == 3
    assert found.theta == pytest.approx([2.0, 0.7], abs=0.03)
    assert found.offset < 1e-9


def test_covariance_is_that_of_unit_residuals():
    found = fit(exponential([2.0, 0.7]) + NOISE, [np.array([1.0, 1.0])])
    j = slopes(found.theta)
    assert found.covariance == pytest.approx(np.linalg.inv(j.T @ j), rel=1e-8)


def test_a_parameter_on_its_bound_is_named_and_has_no_variance():
    y = exponential([2.0, 0.7]) + NOISE
    found = fit(y, [np.array([1.0, 1.5])], [(0.0, np.inf), (1.0, 3.0)])
    assert found.on_bound == ("b",)
    assert found.theta[1] == 1.0
    assert found.covariance[1, 1] == 0.0
    best = np.sum(exponential([1.0, 1.0]) * y) / np.sum(exponential([1.0, 1.0]) ** 2)
    assert found.theta[0] == pytest.approx(best, rel=1e-8)


def test_parameters_that_the_data_cannot_tell_apart_are_a_failure():
    found = least_squares_fit(
        lambda theta: (theta[0] + theta[1]) * X - 3 * X,
        lambda theta: np.stack([X, X], axis=1),
        [np.array([1.0, 1.0])],
        ["a", "b"],
    )
    assert not found.converged
    assert "do not determine" in found.message


def test_residuals_that_are_not_finite_are_a_failure_not_a_crash():
    found = least_squares_fit(
        lambda theta: np.full(X.size, np.nan),
        lambda theta: np.full((X.size, 1), np.nan),
        [np.array([1.0])],
        ["a"],
    )
    assert not found.converged


def test_a_minimum_at_infinity_is_a_failure():
    """A falling exponential fitted to a step: the rate grows without end."""
    y = np.where(X > 0.0, 0.0, 1.0)
    assert not fit(y, [np.array([1.0, 3.0])]).converged


def test_a_failed_start_does_not_hide_one_that_arrived():
    y = exponential([2.0, 0.7]) + NOISE
    found = fit(y, [np.array([1e-8, 900.0]), np.array([1.0, 1.0])])
    assert found.converged
    assert found.n_agree == 1
