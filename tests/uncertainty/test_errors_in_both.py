import numpy as np
import pytest

from rigdata.errors import FitError
from rigdata.uncertainty.errors_in_both import fit_line

# K. Pearson's points (1901) with D. York's weights; from memory of York et al.,
# Am. J. Phys. 72 (2004) 367, table II, confirmed by a second implementation.
X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WX = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
WY = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])
U_X, U_Y = 1 / np.sqrt(WX), 1 / np.sqrt(WY)


def test_pearson_data_with_york_weights() -> None:
    line = fit_line(X, Y, U_X, U_Y)
    assert line.intercept == pytest.approx(5.47991022403, rel=1e-7)
    assert line.slope == pytest.approx(-0.480533407446, rel=1e-7)
    assert line.chi2 == pytest.approx(11.8663531941, rel=1e-7)
    assert line.dof == 8
    # At the adjusted points; at the observed ones they are 0.2919335 and 0.0576167.
    assert line.u_intercept == pytest.approx(0.2949707355, rel=1e-6)
    assert line.u_slope == pytest.approx(0.0579850090, rel=1e-6)


def test_exchanging_the_axes_gives_the_same_line() -> None:
    line, turned = fit_line(X, Y, U_X, U_Y), fit_line(Y, X, U_Y, U_X)
    assert turned.slope == pytest.approx(1 / line.slope, rel=1e-9)
    assert turned.chi2 == pytest.approx(line.chi2, rel=1e-9)


def test_without_error_in_x_it_is_weighted_least_squares() -> None:
    line = fit_line(X, Y, 0.0, U_Y)
    design = np.stack([np.ones_like(X), X], axis=1) / U_Y[:, None]
    covariance = np.linalg.inv(design.T @ design)
    theta = covariance @ design.T @ (Y / U_Y)
    assert [line.intercept, line.slope] == pytest.approx(theta, rel=1e-12)
    assert [line.u_intercept, line.u_slope] == pytest.approx(np.sqrt(np.diag(covariance)))
    assert line.covariance == pytest.approx(covariance[0, 1])


def test_correlated_errors_are_a_shear_of_uncorrelated_ones() -> None:
    # With y' = y + k x, errors that were independent become correlated; the
    # slope grows by k and nothing else changes.
    k = 0.7
    u_sheared = np.hypot(U_Y, k * U_X)
    line = fit_line(X, Y, U_X, U_Y)
    sheared = fit_line(X, Y + k * X, U_X, u_sheared, k * U_X / u_sheared)
    assert sheared.slope == pytest.approx(line.slope + k, rel=1e-10)
    assert sheared.intercept == pytest.approx(line.intercept, rel=1e-10)
    assert sheared.u_slope == pytest.approx(line.u_slope, rel=1e-8)
    assert sheared.chi2 == pytest.approx(line.chi2, rel=1e-8)


def test_stated_uncertainty_is_the_spread_of_repeated_fits() -> None:
    rng = np.random.default_rng(5)
    x, u_x, u_y = np.linspace(0, 10, 12), 0.15, 0.2
    lines = [
        fit_line(x + rng.normal(0, u_x, x.size), 1 + 2 * x + rng.normal(0, u_y, x.size), u_x, u_y)
        for _ in range(1500)
    ]
    slopes = np.array([line.slope for line in lines])
    assert slopes.mean() == pytest.approx(2.0, abs=4 * slopes.std() / np.sqrt(slopes.size))
    assert np.mean([line.u_slope for line in lines]) == pytest.approx(slopes.std(), rel=0.06)
    assert np.mean([line.chi2 for line in lines]) == pytest.approx(10.0, rel=0.05)


def test_a_level_line() -> None:
    line = fit_line([0.0, 1.0, 2.0, 3.0], [2.0, 2.0, 2.0, 2.0], 0.1, 0.1)
    assert line.slope == 0.0
    assert line.intercept == 2.0
    noisy = fit_line([0.0, 1.0, 2.0, 3.0], [2.1, 1.9, 1.9, 2.1], 0.1, 0.1)
    assert noisy.slope == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "u_x", "u_y", "r", "message"),
    [
        ([1.0, 2.0], [1.0, 2.0], 0.1, 0.1, 0.0, "2 points"),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], 0.1, 0.1, 0.0, "same x"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], 0.0, 0.0, 0.0, "no uncertainty"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], 0.1, 0.1, 1.0, "wholly correlated"),
        ([1.0, 2.0, np.nan], [1.0, 2.0, 3.0], 0.1, 0.1, 0.0, "missing"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], -0.1, 0.1, 0.0, "missing"),
    ],
)
def test_points_that_determine_no_line(
    x: list[float], y: list[float], u_x: float, u_y: float, r: float, message: str
) -> None:
    with pytest.raises(FitError, match=message):
        fit_line(x, y, u_x, u_y, r)
