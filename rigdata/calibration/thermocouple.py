"""Thermocouple voltage to temperature and back, types K, N, J and T.

Voltages are in mV, as the reference functions are published; temperatures in
degC.  The reference junction is taken into account by adding voltages: the
voltage of a junction at `t` against one at `t_ref` is ``E(t) - E(t_ref)``.
Adding temperatures instead is wrong by some tenths of a kelvin at 100 degC.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable

import numpy as np
from numpy.polynomial import polynomial
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.calibration.its90 import PIECES, Piece
from rigdata.errors import CampaignError

COLDEST_C = -200.0  # below this the voltage hardly changes, and no inverse is published
_TABLE_STEP_C = 2.0
_ROUNDS = 20


def voltage(kind: str, temperature_c: ArrayLike) -> FloatArray:
    """Return the voltage against a junction at 0 degC.

    Parameters
    ----------
    kind : str
        ``K``, ``N``, ``J`` or ``T``.
    temperature_c : (...) array
        Temperature of the measuring junction. [degC]

    Returns
    -------
    (...) array
        Voltage [mV]; NaN outside the range of the reference function.

    Raises
    ------
    CampaignError
        When the type is not known.
    """
    return _evaluated(kind, temperature_c, _piece_voltage)


def seebeck(kind: str, temperature_c: ArrayLike) -> FloatArray:
    """Return the Seebeck coefficient dE/dt [mV/K]; NaN outside the range.

    Parameters and errors are those of `voltage`.
    """
    return _evaluated(kind, temperature_c, _piece_slope)


def temperature(
    kind: str, voltage_mv: ArrayLike, *, junction_c: ArrayLike = 0.0
) -> tuple[FloatArray, BoolArray]:
    """Return the temperature of the measuring junction.

    Parameters
    ----------
    kind : str
        ``K``, ``N``, ``J`` or ``T``.
    voltage_mv : (...) array
        Voltage as measured. [mV]
    junction_c : (...) array or float
        Temperature of the reference junction. [degC]

    Returns
    -------
    temperature_c : (...) array
        Temperature [degC]; NaN where not inside.
    inside : (...) bool array
        Where the voltage lies in the range of the type, which is taken from
        -200 degC up.

    Raises
    ------
    CampaignError
        When the type is not known.

    Notes
    -----
    The voltage ``E(t_ref) + voltage_mv`` is looked up in a table and carried to
    the root of the reference function by Newton steps, to 1e-9 K.
    """
    table_c, table_mv = _table(kind)
    total = np.asarray(voltage_mv, dtype=np.float64) + voltage(kind, junction_c)
    inside = (total >= table_mv[0]) & (total <= table_mv[-1])
    target = np.where(inside, total, 0.0)
    t = np.asarray(np.interp(target, table_mv, table_c), dtype=np.float64)
    for _ in range(_ROUNDS):
        step = (voltage(kind, t) - target) / seebeck(kind, t)
        t = np.asarray(np.clip(t - step, table_c[0], table_c[-1]), dtype=np.float64)
        if np.max(np.abs(step), initial=0.0) < 1e-10:
            break
    return np.where(inside, t, np.nan), inside


def _evaluated(
    kind: str, temperature_c: ArrayLike, formula: Callable[[Piece, FloatArray], FloatArray]
) -> FloatArray:
    t = np.asarray(temperature_c, dtype=np.float64)
    values = np.full(t.shape, np.nan)
    for piece in reversed(_pieces(kind)):  # a boundary belongs to the colder piece
        here = (t >= piece.low) & (t <= piece.high)
        values[here] = formula(piece, t[here])
    return values


def _piece_voltage(piece: Piece, t: FloatArray) -> FloatArray:
    a0, a1, a2 = piece.bump
    mv: FloatArray = polynomial.polyval(t, piece.coefficients) + a0 * np.exp(a1 * (t - a2) ** 2)
    return mv


def _piece_slope(piece: Piece, t: FloatArray) -> FloatArray:
    a0, a1, a2 = piece.bump
    rise = polynomial.polyval(t, polynomial.polyder(piece.coefficients))
    slope: FloatArray = rise + 2.0 * a0 * a1 * (t - a2) * np.exp(a1 * (t - a2) ** 2)
    return slope


@functools.cache
def _table(kind: str) -> tuple[FloatArray, FloatArray]:
    """Return temperatures and rising voltages of one type, for a first guess."""
    low = max(_pieces(kind)[0].low, COLDEST_C)
    high = _pieces(kind)[-1].high
    table_c = np.linspace(low, high, math.ceil((high - low) / _TABLE_STEP_C) + 1)
    return frozen(table_c), frozen(voltage(kind, table_c))


def _pieces(kind: str) -> tuple[Piece, ...]:
    try:
        return PIECES[kind]
    except KeyError:
        raise CampaignError(
            f"thermocouple type '{kind}' is not known", expected="one of " + ", ".join(PIECES)
        ) from None
