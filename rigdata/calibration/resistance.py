"""Platinum resistance thermometers: resistance to temperature and back.

The Callendar-Van Dusen equation of IEC 60751, for Pt100 and Pt1000::

    R(t) = R0 (1 + A t + B t^2)                       from 0 degC to 850 degC
    R(t) = R0 (1 + A t + B t^2 + C (t - 100) t^3)     from -200 degC to 0 degC

Resistances are in ohm, temperatures in degC.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray
from rigdata.errors import CampaignError

# From memory of IEC 60751, as are the range and the equation.
A = 3.9083e-3  # [1/degC]
B = -5.775e-7  # [1/degC^2]
C = -4.183e-12  # [1/degC^4]
R0_OHM = {"Pt100": 100.0, "Pt1000": 1000.0}  # at 0 degC
COLDEST_C, WARMEST_C = -200.0, 850.0

_ROUNDS = 10


def resistance(kind: str, temperature_c: ArrayLike) -> FloatArray:
    """Return the resistance at a temperature.

    Parameters
    ----------
    kind : str
        ``Pt100`` or ``Pt1000``.
    temperature_c : (...) array
        Temperature. [degC]

    Returns
    -------
    (...) array
        Resistance [ohm]; NaN outside -200 to 850 degC.

    Raises
    ------
    CampaignError
        When the kind is not known.
    """
    return _r0(kind) * _ratio(_within(temperature_c))


def slope(kind: str, temperature_c: ArrayLike) -> FloatArray:
    """Return dR/dt [ohm/K], which makes kelvin of an uncertainty in ohm; NaN outside the range.

    Parameters and errors are those of `resistance`.
    """
    return _r0(kind) * _ratio_slope(_within(temperature_c))


def temperature(kind: str, resistance_ohm: ArrayLike) -> tuple[FloatArray, BoolArray]:
    """Return the temperature at a resistance.

    Parameters
    ----------
    kind : str
        ``Pt100`` or ``Pt1000``.
    resistance_ohm : (...) array
        Resistance as measured, without that of the leads. [ohm]

    Returns
    -------
    temperature_c : (...) array
        Temperature [degC]; NaN where not inside.
    inside : (...) bool array
        Where the resistance is one of -200 to 850 degC.

    Raises
    ------
    CampaignError
        When the kind is not known.

    Notes
    -----
    Above 0 degC the root of the quadratic; below, Newton steps from that root,
    to 1e-9 K.
    """
    ratio = np.asarray(resistance_ohm, dtype=np.float64) / _r0(kind)
    lowest, highest = _ratio(np.array([COLDEST_C, WARMEST_C]))
    inside = (ratio >= lowest) & (ratio <= highest)
    target = np.where(inside, ratio, 1.0)
    # This form of the root loses no digits near 0 degC.
    warm = 2.0 * (target - 1.0) / (A + np.sqrt(A**2 + 4.0 * B * (target - 1.0)))
    below = np.minimum(warm, 0.0)
    for _ in range(_ROUNDS):
        step = (_ratio(below) - np.minimum(target, 1.0)) / _ratio_slope(below)
        below = below - step
        if np.max(np.abs(step), initial=0.0) < 1e-10:
            break
    return np.where(inside, np.where(target < 1.0, below, warm), np.nan), inside


def _within(temperature_c: ArrayLike) -> FloatArray:
    t = np.asarray(temperature_c, dtype=np.float64)
    return np.where((t >= COLDEST_C) & (t <= WARMEST_C), t, np.nan)


def _ratio(t: FloatArray) -> FloatArray:
    """Return R/R0."""
    cold = np.minimum(t, 0.0)
    ratio: FloatArray = 1.0 + A * t + B * t**2 + C * (cold - 100.0) * cold**3
    return ratio


def _ratio_slope(t: FloatArray) -> FloatArray:
    """Return d(R/R0)/dt. [1/K]"""
    cold = np.minimum(t, 0.0)
    rise: FloatArray = A + 2.0 * B * t + C * (4.0 * cold - 300.0) * cold**2
    return rise


def _r0(kind: str) -> float:
    try:
        return R0_OHM[kind]
    except KeyError:
        raise CampaignError(
            f"resistance thermometer '{kind}' is not known", expected="one of " + ", ".join(R0_OHM)
        ) from None
