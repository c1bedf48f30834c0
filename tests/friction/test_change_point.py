import numpy as np
import pytest
from scipy import optimize

from rigdata.friction.change_point import change_point

X = np.arange(24.0)


def course(corner, slope, sd, rng):
    return 0.14 - slope * np.maximum(corner - X, 0.0) + sd * rng.normal(size=X.size)


def test_exact_corner():
    found = change_point(X, course(9.0, 1e-3, 0.0, np.random.default_rng(1)))
    assert found.at == pytest.approx(9.0, abs=0.06)  # the grid's step
    assert found.level == pytest.approx(0.14, abs=1e-4)
    assert found.rise == pytest.approx(9e-3, rel=0.02)
    assert found.level_seen


def test_least_squares_agree_with_a_general_minimiser():
    y = course(9.0, 1e-3, 3e-4, np.random.default_rng(2))
    found = change_point(X, y)

    def residual(theta):
        return theta[0] - theta[1] * np.maximum(theta[2] - X, 0.0) - y

    fit = optimize.least_squares(residual, [0.14, 1e-3, 9.0], x_scale=[0.1, 1e-3, 10.0])
    assert found.at == pytest.approx(fit.x[2], abs=0.06)
    assert found.level == pytest.approx(fit.x[0], rel=1e-4)


def test_the_interval_holds():
    rng = np.random.default_rng(3)
    found = [change_point(X, course(9.0, 5e-4, 6e-4, rng)) for _ in range(200)]
    held = np.mean([one.low <= 9.0 <= one.high for one in found])
    assert 0.90 <= held <= 1.0


def test_nothing_that_changes_is_seldom_taken_for_a_change():
    rng = np.random.default_rng(4)
    found = [change_point(X, course(9.0, 0.0, 6e-4, rng)) for _ in range(200)]
    assert np.mean([one.p < 0.01 for one in found]) <= 0.06


def test_a_course_that_never_settles_says_so():
    found = change_point(X, course(30.0, 1e-3, 1e-4, np.random.default_rng(5)))
    assert not found.level_seen
    assert found.high == X[-1]


def test_order_does_not_matter_and_few_points_say_nothing():
    rng = np.random.default_rng(6)
    y = course(9.0, 1e-3, 3e-4, rng)
    mixed = rng.permutation(X.size)
    assert change_point(X[mixed], y[mixed]) == change_point(X, y)
    assert change_point(X[:5], y[:5]) is None
