"""Conditions: where a coefficient was measured or is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen

AXES = ("slip_speed_m_s", "temperature_c", "pressure_mpa")

# A coefficient of an axis is only fitted when the tests span at least this much of it.
LEAST_SPEED_RATIO = 2.0
LEAST_TEMPERATURE_SPAN_K = 10.0
LEAST_PRESSURE_RATIO = 1.3


class ReferenceCondition(Protocol):
    """Any object that names one slip speed, temperature and pressure."""

    @property
    def slip_speed_m_s(self) -> float: ...  # noqa: D102
    @property
    def temperature_c(self) -> float: ...  # noqa: D102
    @property
    def pressure_mpa(self) -> float: ...  # noqa: D102


@dataclass(frozen=True, eq=False)
class Conditions:
    """Where mu is asked for or was measured; the three broadcast together.

    Attributes
    ----------
    slip_speed_m_s : (n,) array
        Sliding speed at the effective radius, above 0 for kinetic friction. [m/s]
    temperature_c : (n,) array
        Plate temperature. [degC]
    pressure_mpa : (n,) array
        Mean face pressure, above 0. [MPa]
    """

    slip_speed_m_s: FloatArray
    temperature_c: FloatArray
    pressure_mpa: FloatArray

    def __init__(
        self, slip_speed_m_s: ArrayLike, temperature_c: ArrayLike, pressure_mpa: ArrayLike
    ) -> None:
        parts = np.broadcast_arrays(
            *(np.atleast_1d(part) for part in (slip_speed_m_s, temperature_c, pressure_mpa))
        )
        for name, part in zip(AXES, parts, strict=True):
            object.__setattr__(self, name, frozen(part))

    def __len__(self) -> int:
        return int(self.slip_speed_m_s.size)

    def select(self, chosen: BoolArray | IntArray) -> Conditions:
        """Return the conditions chosen by a mask or by indices."""
        return Conditions(
            self.slip_speed_m_s[chosen], self.temperature_c[chosen], self.pressure_mpa[chosen]
        )


def at(reference: ReferenceCondition) -> Conditions:
    """Return the single condition `reference` as an array of one."""
    return Conditions(reference.slip_speed_m_s, reference.temperature_c, reference.pressure_mpa)


def shown_axes(conditions: Conditions) -> frozenset[str]:
    """Return the members of `AXES` that vary enough to fit a coefficient to."""
    speed, temperature, pressure = (getattr(conditions, axis) for axis in AXES)
    enough = (
        speed.max() >= LEAST_SPEED_RATIO * speed.min() > 0.0,
        np.ptp(temperature) >= LEAST_TEMPERATURE_SPAN_K,
        pressure.max() >= LEAST_PRESSURE_RATIO * pressure.min() > 0.0,
    )
    return frozenset(axis for axis, shown in zip(AXES, enough, strict=True) if shown)
