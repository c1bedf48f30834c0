import numpy as np
import pytest
from scipy import optimize

from rigdata.bedding.settling import Course, settle

WORK = np.linspace(2.0, 120.0, 40)
WITHIN = 0.01


def course(work, value, sd, dof=np.inf):
    """Values with independent errors of one size beside their level."""
    y = (value - value.mean()) / sd

    def against(columns):
        x = (columns - columns.mean(axis=0)) / sd
        return y @ x, np.sum(x**2, axis=0)

    return Course(work=work, squares=float(y @ y), against=against, dof=lambda _: dof)


def values(change, scale, sd=0.0, rng=None):
    clean = 1.0 + change * np.exp(-(WORK - WORK[0]) / scale)
    return clean if rng is None else clean + sd * rng.normal(size=WORK.size)


def test_an_exact_course_is_found():
    found = settle(course(WORK, values(-0.08, 25.0), 1e-3))
    assert found.change == pytest.approx(-0.08, rel=0.01)
    assert found.scale == pytest.approx(25.0, rel=0.02)
    assert found.steady_at(WITHIN) == pytest.approx(2.0 + 25.0 * np.log(8.0), rel=0.01)


def test_least_squares_agree_with_a_general_minimiser():
    value = values(0.05, 30.0, 2e-3, np.random.default_rng(2))
    found = settle(course(WORK, value, 2e-3))

    def residual(theta):
        return theta[0] + theta[1] * np.exp(-(WORK - 2.0) / theta[2]) - value

    fit = optimize.least_squares(residual, [1.0, 0.05, 30.0], x_scale=[1.0, 0.1, 10.0])
    assert found.squares == pytest.approx(2.0 * fit.cost / 2e-3**2, rel=1e-3)
    assert found.change == pytest.approx(fit.x[1], rel=0.02)


def test_the_interval_holds():
    rng = np.random.default_rng(3)
    true = 2.0 + 25.0 * np.log(5.0)
    held = 0
    for _ in range(150):
        found = settle(course(WORK, values(0.05, 25.0, 4e-3, rng), 4e-3))
        low, high = found.steady_interval(WITHIN)
        assert low <= found.steady_at(WITHIN) <= high
        held += low <= true <= high
    assert 0.90 <= held / 150 <= 0.99


def test_nothing_that_changes_is_seldom_taken_for_a_change():
    rng = np.random.default_rng(4)
    found = [settle(course(WORK, values(0.0, 1.0, 4e-3, rng), 4e-3)) for _ in range(300)]
    assert np.mean([one.p < 0.01 for one in found]) <= 0.06
    assert np.mean([one.most() < 0.004 for one in found]) < 0.5  # the noise itself is 0.004


def test_a_course_that_never_settles_has_no_upper_end():
    found = settle(course(WORK, values(0.2, 300.0), 1e-3))
    assert found.steady_at(WITHIN) > WORK[-1]
    assert found.steady_interval(WITHIN)[1] == np.inf


def test_a_small_change_is_steady_from_the_first_point():
    found = settle(course(WORK, values(0.008, 25.0), 1e-4))
    assert found.steady_at(WITHIN) == WORK[0]
    assert found.steady_interval(WITHIN)[0] == WORK[0]


def test_few_points_or_no_work_between_them_say_nothing():
    value = values(0.05, 25.0)
    assert settle(course(WORK[:5], value[:5], 1e-3)) is None
    assert settle(course(np.full(40, 3.0), value, 1e-3)) is None
