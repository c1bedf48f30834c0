"""Conditions: where a coefficient was measured or is asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen

AXES = ("slip_speed_m_s", "temperature_c", "pressure_mpa")
DWELL = "dwell_s"  # a fourth axis, of breakaway alone
ALL_AXES = (*AXES, DWELL)

# A coefficient of an axis is only fitted when the tests span at least this much of it.
LEAST_SPEED_RATIO = 2.0
LEAST_TEMPERATURE_SPAN_K = 10.0
LEAST_PRESSURE_RATIO = 1.3
LEAST_DWELL_RATIO = 3.0


class ReferenceCondition(Protocol):
    """Any object that names one slip speed, temperature and pressure, and may name a dwell."""

    @property
    def slip_speed_m_s(self) -> float: ...  # noqa: D102
    @property
    def temperature_c(self) -> float: ...  # noqa: D102
    @property
    def pressure_mpa(self) -> float: ...  # noqa: D102
    @property
    def dwell_s(self) -> float | None: ...  # noqa: D102


@dataclass(frozen=True, eq=False)
class Conditions:
    """Where mu is asked for or was measured; the parts broadcast together.

    Attributes
    ----------
    slip_speed_m_s : (n,) array
        Sliding speed at the effective radius: above 0 for kinetic friction, 0 for
        breakaway. [m/s]
    temperature_c : (n,) array
        Plate temperature. [degC]
    pressure_mpa : (n,) array
        Mean face pressure, above 0. [MPa]
    dwell_s : (n,) array
        Time under load at rest before a breakaway; NaN for kinetic friction, and
        where it is not known. [s]
    """

    slip_speed_m_s: FloatArray
    temperature_c: FloatArray
    pressure_mpa: FloatArray
    dwell_s: FloatArray

    def __init__(
        self,
        slip_speed_m_s: ArrayLike,
        temperature_c: ArrayLike,
        pressure_mpa: ArrayLike,
        dwell_s: ArrayLike = np.nan,
    ) -> None:
        given = (slip_speed_m_s, temperature_c, pressure_mpa, dwell_s)
        parts = np.broadcast_arrays(*(np.atleast_1d(part) for part in given))
        for name, part in zip(ALL_AXES, parts, strict=True):
            object.__setattr__(self, name, frozen(part))

    def __len__(self) -> int:
        return int(self.slip_speed_m_s.size)

    def select(self, chosen: BoolArray | IntArray) -> Conditions:
        """Return the conditions chosen by a mask or by indices."""
        return Conditions(*(getattr(self, name)[chosen] for name in ALL_AXES))

    def after(self, dwell_s: float | None) -> Conditions:
        """Return the conditions with this dwell wherever none is named. [s]"""
        if dwell_s is None or np.all(np.isfinite(self.dwell_s)):
            return self
        return replace(self, dwell_s=np.where(np.isnan(self.dwell_s), dwell_s, self.dwell_s))


def at(reference: ReferenceCondition) -> Conditions:
    """Return the single condition `reference` as an array of one."""
    here = Conditions(reference.slip_speed_m_s, reference.temperature_c, reference.pressure_mpa)
    return here.after(reference.dwell_s)


def shown_axes(conditions: Conditions) -> frozenset[str]:
    """Return the members of `ALL_AXES` that vary enough to fit a coefficient to."""
    speed, temperature, pressure, dwell = (getattr(conditions, axis) for axis in ALL_AXES)
    enough = (
        speed.max() >= LEAST_SPEED_RATIO * speed.min() > 0.0,
        np.ptp(temperature) >= LEAST_TEMPERATURE_SPAN_K,
        pressure.max() >= LEAST_PRESSURE_RATIO * pressure.min() > 0.0,
        dwell.max() >= LEAST_DWELL_RATIO * dwell.min() > 0.0,
    )
    return frozenset(axis for axis, shown in zip(ALL_AXES, enough, strict=True) if shown)
