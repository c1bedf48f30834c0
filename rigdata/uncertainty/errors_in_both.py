"""A straight line through points with uncertainty in both coordinates.

D. York, N. M. Evensen, M. L. Martinez and J. De Basabe Delgado, "Unified
equations for the slope, intercept, and standard errors of the best straight
line", Am. J. Phys. 72 (2004) 367.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import FloatArray, frozen
from rigdata.errors import FitError

_ROUNDS = 200


@dataclass(frozen=True, eq=False)
class Line:
    """The line ``y = intercept + slope * x``.

    Attributes
    ----------
    intercept, slope : float
        The line.
    u_intercept, u_slope : float
        Standard uncertainties from the stated uncertainties of the points
        alone, not widened by the misfit `chi2`, and taken at the adjusted
        points (York 2004; the older form at the observed points differs by
        about 1 % on poor data).
    covariance : float
        Covariance of intercept and slope.
    chi2 : float
        Weighted sum of squared distances from the line.
    dof : int
        Points less two.
    adjusted_x : (n,) float
        Where the best estimate of each point lies along x.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    chi2: float
    dof: int
    adjusted_x: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "adjusted_x", frozen(self.adjusted_x))


def fit_line(
    x: ArrayLike, y: ArrayLike, u_x: ArrayLike, u_y: ArrayLike, correlation: ArrayLike = 0.0
) -> Line:
    """Fit a line by generalised least squares with errors in both coordinates.

    Parameters
    ----------
    x, y : (n,) array
        The points, at least three.
    u_x, u_y : (n,) array or float
        Standard uncertainties; either may be 0, but not both at one point.
    correlation : (n,) array or float
        Correlation of the errors of x and y at each point.

    Returns
    -------
    Line

    Raises
    ------
    FitError
        When there are too few points, an uncertainty is missing, x does not
        vary, or the iteration does not settle.

    Notes
    -----
    With ``W = 1 / (u_y^2 + b^2 u_x^2 - 2 b r u_x u_y)`` and the deviations `U`,
    `V` from the weighted means, the slope solves
    ``b = sum(W beta V) / sum(W beta U)``,
    ``beta = W [U u_y^2 + b V u_x^2 - (b U + V) r u_x u_y]``.
    """
    columns = np.broadcast_arrays(
        *(np.asarray(c, dtype=np.float64) for c in (x, y, u_x, u_y, correlation))
    )
    xs, ys, ux, uy, r = columns
    if xs.ndim != 1 or xs.size < 3:
        raise FitError(
            f"{xs.size} points do not determine a line and its misfit", expected="at least 3 points"
        )
    if not np.all(np.isfinite(columns)) or np.any(ux < 0.0) or np.any(uy < 0.0):
        raise FitError("a point or its uncertainty is missing", expected="finite numbers")
    if np.any((ux == 0.0) & (uy == 0.0)) or np.any(np.abs(r) >= 1.0):
        raise FitError(
            "a point has no uncertainty in either coordinate, or wholly correlated errors",
            expected="an uncertainty in x or y, and a correlation between -1 and 1",
        )
    spread = xs - xs.mean()
    if not np.any(np.abs(spread) > 1e-12 * np.max(np.abs(xs))):
        raise FitError("all points have the same x", do="Use points with different x.")
    slope = float(spread @ ys / (spread @ spread))
    steepest = float(np.ptp(ys) / np.ptp(xs))  # so that a level line settles too
    shared = r * ux * uy
    for _ in range(_ROUNDS):
        weight = 1.0 / (uy**2 + (slope * ux) ** 2 - 2.0 * slope * shared)
        mean_x, mean_y = (float(weight @ values / weight.sum()) for values in (xs, ys))
        off_x, off_y = xs - mean_x, ys - mean_y
        along = weight * (off_x * uy**2 + slope * off_y * ux**2 - (slope * off_x + off_y) * shared)
        previous, slope = slope, float((weight * along) @ off_y / ((weight * along) @ off_x))
        if not np.isfinite(slope) or abs(slope - previous) <= 1e-14 * max(abs(slope), steepest):
            break
    else:
        # Rounding may keep the last digits moving; anything more is a failure.
        if abs(slope - previous) > 1e-9 * max(abs(slope), steepest):
            raise FitError("the slope does not settle", do="Check the uncertainties of the points.")
    if not np.isfinite(slope):
        raise FitError("the points do not determine a slope", do="Use points with different x.")
    intercept = mean_y - slope * mean_x
    adjusted = mean_x + along
    centre = float(weight @ adjusted / weight.sum())
    variance = 1.0 / float(weight @ (adjusted - centre) ** 2)
    return Line(
        intercept=intercept,
        slope=slope,
        u_intercept=float(np.sqrt(1.0 / weight.sum() + centre**2 * variance)),
        u_slope=float(np.sqrt(variance)),
        covariance=-centre * variance,
        chi2=float(weight @ (ys - intercept - slope * xs) ** 2),
        dof=xs.size - 2,
        adjusted_x=adjusted,
    )
