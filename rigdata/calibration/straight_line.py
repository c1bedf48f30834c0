"""A straight calibration line when the applied values are uncertain one by one."""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize

from rigdata.arrays import FloatArray
from rigdata.calibration.least_squares import PolynomialFit
from rigdata.errors import CalibrationError, FitError
from rigdata.uncertainty.errors_in_both import Line, fit_line


def fit_uncertain_applied(
    indicated: FloatArray, applied: FloatArray, u_applied: FloatArray
) -> PolynomialFit:
    """Fit applied on indicated with errors in both.

    Parameters
    ----------
    indicated, applied : (n,) array
        The points, at least three.
    u_applied : (n,) array
        Standard uncertainty of each applied value that no other point shares,
        above 0. [as applied]

    Returns
    -------
    PolynomialFit
        The line of York et al. (2004), see `rigdata.uncertainty.errors_in_both`,
        written in two polynomials whose coefficients are uncorrelated.  `s` is
        the plain residual standard deviation in the applied unit.

    Raises
    ------
    CalibrationError
        When the points do not determine a line.

    Notes
    -----
    The scatter that `u_applied` does not explain belongs to the indicated
    values: their common standard uncertainty is raised until the weighted sum
    of squares equals its degrees of freedom, ``chi^2 = n - 2`` (the principle
    of R. C. Paule and J. Mandel, J. Res. NBS 87 (1982) 377), and is 0 where
    `u_applied` explains all of it.
    """
    try:
        line = fit_line(indicated, applied, 0.0, u_applied)
        if line.chi2 > line.dof:
            u_indicated = _unexplained(indicated, applied, u_applied, line)
            line = fit_line(indicated, applied, u_indicated, u_applied)
    except FitError as error:
        raise CalibrationError(error.what, expected=error.expected) from error
    residual = applied - line.intercept - line.slope * indicated
    middle = -line.covariance / line.u_slope**2
    u_level = math.sqrt(max(line.u_intercept**2 - (middle * line.u_slope) ** 2, 0.0))
    # A record without any scatter still has the uncertainty of its applied values.
    s = max(math.sqrt(float(residual @ residual) / line.dof), 1e-9 * u_level)
    level = line.intercept + line.slope * middle
    return PolynomialFit(
        coefficients=np.array([line.intercept, line.slope]),
        covariance=np.array(
            [[line.u_intercept**2, line.covariance], [line.covariance, line.u_slope**2]]
        ),
        s=s,
        dof=line.dof,
        middle=middle,
        half_span=1.0,
        orthonormal=np.array([level * s / u_level, line.slope * s / line.u_slope]),
        mixing=np.diag([u_level / s, line.u_slope / s]),
    )


def _unexplained(
    indicated: FloatArray, applied: FloatArray, u_applied: FloatArray, line: Line
) -> float:
    """Return the uncertainty of the indicated values that makes chi^2 its degrees of freedom."""
    if line.slope == 0.0:
        raise CalibrationError("the applied values do not rise with the indicated ones")
    residual = applied - line.intercept - line.slope * indicated
    most = float(np.max(np.abs(residual))) / abs(line.slope)

    def excess(u_indicated: float) -> float:
        return fit_line(indicated, applied, u_indicated, u_applied).chi2 - line.dof

    while excess(most) > 0.0:
        most *= 2.0
    return float(optimize.brentq(excess, 0.0, most, xtol=1e-9 * most))
