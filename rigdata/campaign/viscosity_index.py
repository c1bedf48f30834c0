"""Viscosity index of the oil: whether its two viscosities can be those of one oil."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from rigdata.arrays import FloatArray

LOW, HIGH = 0.0, 400.0  # mineral oils have about 100, the best multigrade ones over 200
_TABLE = Path(__file__).with_name("viscosity_index.csv")


def viscosity_index(viscosity_40c: float, viscosity_100c: float) -> float | None:
    """Viscosity index by ASTM D2270, not rounded.

    Parameters
    ----------
    viscosity_40c, viscosity_100c : float
        Kinematic viscosity at 40 and 100 degC. [mm^2/s]

    Returns
    -------
    float or None
        None below 2 mm^2/s at 100 degC, where there is no such index. [1]

    Notes
    -----
    With L and H the viscosities at 40 degC of oils of index 0 and 100 that share
    ``Y``, the viscosity at 100 degC, the index is ``100 (L - U) / (L - H)`` for U above
    H, and ``(10^N - 1) / 0.00715 + 100`` with ``N = log10(H / U) / log10 Y`` else.  L and
    H are tabulated up to 70 mm^2/s, with straight lines between the lines of the table;
    beyond, ``L = 0.8353 Y^2 + 14.67 Y - 216`` and ``H = 0.1684 Y^2 + 11.85 Y - 97``.

    References
    ----------
    ASTM D2270, Standard Practice for Calculating Viscosity Index from Kinematic
    Viscosity at 40 degC and 100 degC; its table as the package ``chemicals`` 1.5.2
    (MIT licence) carries it.
    """
    u, y = viscosity_40c, viscosity_100c
    if y < 2.0:
        return None
    at_100c, of_0, of_100 = _table()
    if y <= at_100c[-1]:
        low, high = (float(np.interp(y, at_100c, column)) for column in (of_0, of_100))
    else:
        low, high = 0.8353 * y**2 + 14.67 * y - 216.0, 0.1684 * y**2 + 11.85 * y - 97.0
    if u > high:
        return 100.0 * (low - u) / (low - high)
    n = np.log10(high / u) / np.log10(y)
    return float((10.0**n - 1.0) / 0.00715 + 100.0)


@cache
def _table() -> FloatArray:
    """Return viscosities at 100 degC, then L and H, each (k,)."""
    return np.loadtxt(_TABLE, delimiter=",", skiprows=1, unpack=True)
