"""Linear least squares that keeps its digits: QR, never normal equations.

A polynomial is fitted in polynomials that are orthonormal over the points
themselves, so that its coefficients have independent errors with one common
standard deviation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import polynomial as natural
from numpy.typing import ArrayLike

from rigdata.arrays import FloatArray, frozen
from rigdata.errors import CalibrationError


@dataclass(frozen=True, eq=False)
class LinearFit:
    """A linear least-squares fit with equal weights.

    Attributes
    ----------
    coefficients : (p,) float
        One for each column of the design.
    covariance : (p, p) float
        Their covariance, from the scatter of the points about the fit.
    s : float
        Residual standard deviation.
    dof : int
        Points less coefficients.
    """

    coefficients: FloatArray
    covariance: FloatArray
    s: float
    dof: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "coefficients", frozen(self.coefficients))
        object.__setattr__(self, "covariance", frozen(self.covariance))


@dataclass(frozen=True, eq=False)
class PolynomialFit(LinearFit):
    """A polynomial fit; `coefficients` multiply 1, x, x^2, ...

    Attributes
    ----------
    middle, half_span : float
        The fit works in ``t = (x - middle) / half_span``.
    orthonormal : (p,) float
        Coefficients of the orthonormal polynomials; each has the variance
        ``s^2``, and they are uncorrelated.
    mixing : (p, p) float
        Column j holds the coefficients in t of orthonormal polynomial j.
    """

    middle: float
    half_span: float
    orthonormal: FloatArray
    mixing: FloatArray

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "orthonormal", frozen(self.orthonormal))
        object.__setattr__(self, "mixing", frozen(self.mixing))

    def basis(self, x: ArrayLike) -> FloatArray:
        """Return the orthonormal polynomials at `x` (n,) as (p, n)."""
        t = (np.asarray(x, dtype=np.float64) - self.middle) / self.half_span
        values: FloatArray = self.mixing.T @ natural.polyvander(t, self.coefficients.size - 1).T
        return values

    def predict(self, x: ArrayLike) -> FloatArray:
        """Return the curve at `x` (n,)."""
        curve: FloatArray = self.orthonormal @ self.basis(x)
        return curve

    def u_curve(self, x: ArrayLike) -> FloatArray:
        """Return the standard uncertainty of the curve at `x` (n,)."""
        spread: FloatArray = self.s * np.sqrt(np.sum(self.basis(x) ** 2, axis=0))
        return spread


def fit_linear(design: ArrayLike, y: ArrayLike) -> LinearFit:
    """Fit ``y = design @ coefficients`` by QR of the scaled design.

    Parameters
    ----------
    design : (n, p) array
        One column for each coefficient.
    y : (n,) array
        Observations.

    Returns
    -------
    LinearFit

    Raises
    ------
    CalibrationError
        When there are no degrees of freedom left, a number is missing, or the
        columns depend on each other.
    """
    matrix, values = np.asarray(design, dtype=np.float64), np.asarray(y, dtype=np.float64)
    scale = np.sqrt(np.asarray(np.sum(matrix**2, axis=0), dtype=np.float64))
    q, r, dof = _decomposed(matrix, values, scale)
    inverse = np.asarray(np.linalg.inv(r), dtype=np.float64)
    theta = inverse @ (q.T @ values)
    theta = theta + inverse @ (q.T @ (values - (matrix / scale) @ theta))  # one refinement
    residual = values - (matrix / scale) @ theta
    s = float(np.sqrt(residual @ residual / dof))
    factor = s * inverse / scale[:, None]
    return LinearFit(theta / scale, factor @ factor.T, s, dof)


def fit_polynomial(x: ArrayLike, y: ArrayLike, degree: int) -> PolynomialFit:
    """Fit a polynomial of `degree` to points with equal weights.

    Parameters
    ----------
    x, y : (n,) array
        Points.
    degree : int
        Degree of the polynomial, at least 0.

    Returns
    -------
    PolynomialFit

    Raises
    ------
    CalibrationError
        When there are no degrees of freedom left, a number is missing, or x
        takes too few different values.
    """
    points, values = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    middle, half_span = 0.0, 1.0
    if degree > 0 and points.size:
        middle = float(points.mean())
        half_span = 0.5 * float(np.ptp(points)) or 1.0
    vander = np.asarray(natural.polyvander((points - middle) / half_span, degree), np.float64)
    q, r, dof = _decomposed(vander, values, np.ones(degree + 1))
    turn = np.sign(np.diag(r))  # every orthonormal polynomial rises at large x
    q, r = q * turn, r * turn[:, None]
    mixing = np.asarray(np.linalg.inv(r), dtype=np.float64)
    theta = q.T @ values
    residual = values - q @ theta
    theta = theta + q.T @ residual  # one refinement
    residual = values - q @ theta
    s = float(np.sqrt(residual @ residual / dof))
    to_natural = _powers(middle, half_span, degree) @ mixing
    return PolynomialFit(
        coefficients=to_natural @ theta,
        covariance=s**2 * to_natural @ to_natural.T,
        s=s,
        dof=dof,
        middle=middle,
        half_span=half_span,
        orthonormal=theta,
        mixing=mixing,
    )


def _decomposed(
    matrix: FloatArray, values: FloatArray, scale: FloatArray
) -> tuple[FloatArray, FloatArray, int]:
    """Return Q, R and the degrees of freedom of a design that determines its fit."""
    dof = matrix.shape[0] - matrix.shape[1]
    if dof < 1:
        raise CalibrationError(
            f"{matrix.shape[0]} points leave no degrees of freedom for "
            f"{matrix.shape[1]} coefficients",
            expected=f"at least {matrix.shape[1] + 1} points",
        )
    if not (np.all(np.isfinite(matrix)) and np.all(np.isfinite(values))):
        raise CalibrationError("a point to be fitted is missing", expected="finite numbers")
    q, r = np.linalg.qr(matrix / np.where(scale > 0.0, scale, 1.0))
    sizes = np.abs(np.diag(r))
    if sizes.min() <= 1e-13 * sizes.max():
        raise CalibrationError(
            "the points do not determine every coefficient",
            expected=f"at least {matrix.shape[1]} different, independent settings",
        )
    return q, r, dof


def _powers(middle: float, half_span: float, degree: int) -> FloatArray:
    """Return the matrix whose column j holds ``((x - middle) / half_span)^j`` in powers of x."""
    columns = np.zeros((degree + 1, degree + 1))
    for j in range(degree + 1):
        columns[: j + 1, j] = natural.polypow([-middle / half_span, 1.0 / half_span], j)
    return columns
