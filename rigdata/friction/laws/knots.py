"""Knots: values that were tested, between which a curve through the tests may bend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.conditions import ALL_AXES, AXES, Conditions, shown_axes
from rigdata.friction.envelope import scaled

LEAST_KNOTS = 2
_MOST_KNOTS = dict(zip(ALL_AXES, (12, 5, 4, 4), strict=True))
_POINTS_A_KNOT = 6


@dataclass(frozen=True)
class Knots:
    """Values between which a surface may bend.

    Attributes
    ----------
    slip_speed_m_s, temperature_c, pressure_mpa : tuple of float
        Rising, two or more; empty along a quantity that was not varied. [m/s, degC, MPa]
    """

    slip_speed_m_s: tuple[float, ...] = ()
    temperature_c: tuple[float, ...] = ()
    pressure_mpa: tuple[float, ...] = ()

    @property
    def places(self) -> dict[str, tuple[float, ...]]:
        """The knots of each of `AXES` in its `coordinate`."""
        return {axis: tuple(coordinate(axis, getattr(self, axis)).tolist()) for axis in AXES}


def coordinate(axis: str, values: FloatArray | tuple[float, ...]) -> FloatArray:
    """Return what laws are drawn over: T, and the logarithm of the other quantities."""
    array = np.asarray(values, dtype=np.float64)
    return array if axis == "temperature_c" else np.log(array)


def knots_of(conditions: Conditions) -> Knots:
    """Return knots for a surface through tests at `conditions`."""
    shown = shown_axes(conditions)
    return Knots(**{axis: knots_along(conditions, axis) for axis in AXES if axis in shown})


def knots_along(conditions: Conditions, axis: str) -> tuple[float, ...]:
    """Return values tested along one of `ALL_AXES`, the least and the greatest too.

    Values within the envelope's tolerance of each other count as one.  There are no
    more knots than such values, and no more than one for six points.
    """
    which, values = settings(conditions, axis), getattr(conditions, axis)
    middles = [float(np.median(values[which == i])) for i in range(which.max() + 1)]
    middles[0], middles[-1] = float(values.min()), float(values.max())
    least = max(len(conditions) // _POINTS_A_KNOT, LEAST_KNOTS)
    count = min(_MOST_KNOTS[axis], len(middles), least)
    chosen = np.round(np.linspace(0, len(middles) - 1, count)).astype(int)
    return tuple(middles[i] for i in chosen.tolist())


def settings(conditions: Conditions, axis: str) -> IntArray:
    """Return which setting of one quantity each test had, numbered from the least up, (n,)."""
    axes = AXES if axis in AXES else ALL_AXES
    place = scaled(conditions, axes)[:, axes.index(axis)]
    order = np.argsort(place)
    ordered, which = place[order], np.empty(place.size, dtype=np.int64)
    number = start = 0
    while start < place.size:
        end = start + int(np.searchsorted(ordered[start:] - ordered[start], 1.0, side="right"))
        which[order[start:end]] = number
        number, start = number + 1, end
    return which
