import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigdata.calibration.least_squares import fit_linear, fit_polynomial
from rigdata.errors import CalibrationError


@settings(max_examples=50, deadline=None)
@given(
    degree=st.integers(0, 3),
    middle=st.floats(-1e3, 1e3),
    span=st.floats(1e-3, 1e3),
    seed=st.integers(0, 2**31),
)
def test_basis_is_orthonormal_over_the_points(
    degree: int, middle: float, span: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    x = middle + span * np.linspace(-1, 1, 12)
    fit = fit_polynomial(x, rng.normal(size=12), degree)
    basis = fit.basis(x)
    assert basis @ basis.T == pytest.approx(np.eye(degree + 1), abs=1e-8)


def test_exact_points_give_the_exact_curve() -> None:
    x = np.linspace(2.0, 5.0, 9)
    fit = fit_polynomial(x, 1.0 - 2.0 * x + 0.5 * x**3, 3)
    assert fit.coefficients == pytest.approx([1.0, -2.0, 0.0, 0.5], abs=1e-11)
    assert fit.s == pytest.approx(0.0, abs=1e-13)
    assert fit.dof == 5


def test_prediction_is_the_polynomial_of_its_coefficients() -> None:
    rng = np.random.default_rng(1)
    x = np.sort(rng.uniform(0, 3, 20))
    fit = fit_polynomial(x, rng.normal(size=20), 3)
    at = np.linspace(-1, 4, 7)
    powers = np.vander(at, 4, increasing=True)
    assert fit.predict(at) == pytest.approx(powers @ fit.coefficients, rel=1e-10)
    u = np.sqrt(np.einsum("ni,ij,nj->n", powers, fit.covariance, powers))
    assert fit.u_curve(at) == pytest.approx(u, rel=1e-8)


def test_stated_uncertainty_is_the_spread_of_repeated_fits() -> None:
    rng = np.random.default_rng(2)
    x = np.linspace(0, 1, 10)
    fits = [fit_polynomial(x, 1 + x + rng.normal(0, 0.1, 10), 1) for _ in range(2000)]
    at_zero = np.array([float(fit.predict([0.0])[0]) for fit in fits])
    stated = np.sqrt(np.mean([fit.u_curve([0.0])[0] ** 2 for fit in fits]))
    assert stated == pytest.approx(at_zero.std(), rel=0.05)


@pytest.mark.parametrize(
    ("x", "degree"),
    [
        ([1.0, 2.0], 1),  # no degrees of freedom
        ([3.0, 3.0, 3.0, 3.0], 1),  # one setting
        ([1.0, 2.0, 1.0, 2.0, 1.0], 2),  # two settings cannot show a curve
        ([1.0, 2.0, np.nan, 4.0], 1),
        ([], 1),
    ],
)
def test_points_that_determine_no_curve(x: list[float], degree: int) -> None:
    with pytest.raises(CalibrationError):
        fit_polynomial(x, np.ones(len(x)), degree)


def test_columns_that_depend_on_each_other() -> None:
    column = np.arange(6.0)
    with pytest.raises(CalibrationError, match="every coefficient"):
        fit_linear(np.column_stack([column, column]), column)
    with pytest.raises(CalibrationError, match="every coefficient"):
        fit_linear(np.column_stack([column, np.zeros(6)]), column)
