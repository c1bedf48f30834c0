"""Factors of statistical tolerance intervals for a normal distribution.

``mean +- k s`` holds a share p of all values with confidence gamma.  The factors are
those of ISO 16269-6 for unknown mean and standard deviation, two-sided and exact by
integration over the error of the mean.  Where `s` is pooled over several samples its
degrees of freedom are theirs together (Annex F of the standard).
"""

from __future__ import annotations

import numpy as np
from scipy import optimize, stats

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)
_FAR = 10.0  # standard errors of the mean: beyond lies nothing a double can hold
_LARGEST = 1e6


def two_sided_factor(n: float, dof: float, share: float, confidence: float) -> float:
    """Return k for an interval that holds a share of all values.

    Parameters
    ----------
    n : float
        Values behind the mean; the mean's variance is that of one value over `n`.
    dof : float
        Degrees of freedom of the standard deviation.
    share, confidence : float
        Between 0 and 1.

    Returns
    -------
    float
        k, rounded to nothing.

    Raises
    ------
    ValueError
        When `n` or `dof` is not above 0, or a probability is not between 0 and 1.

    Notes
    -----
    With the mean off by x standard deviations the interval holds the share p when its
    half width is R(x), ``Phi(x + R) - Phi(x - R) = p``, so k solves
    ``E_x P(chi2_dof > dof R(x)^2 / k^2) = gamma`` with ``x ~ N(0, 1/n)``.
    """
    _check(n, dof, share, confidence)
    reach = _FAR / np.sqrt(n)
    x = 0.5 * reach * (_NODES + 1.0)
    density = _WEIGHTS * reach * stats.norm.pdf(x, scale=1.0 / np.sqrt(n))
    squares = stats.ncx2.ppf(share, 1, x**2)

    def short_of(k: float) -> float:
        return float(density @ stats.chi2.sf(dof * squares / k**2, dof)) - confidence

    return float(optimize.brentq(short_of, 1e-3, _LARGEST, xtol=1e-12, rtol=1e-12))


def _check(n: float, dof: float, share: float, confidence: float) -> None:
    if not (n > 0.0 and dof > 0.0):
        raise ValueError("n and dof must be above 0")
    if not (0.0 < share < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError("share and confidence must lie between 0 and 1")
