"""The envelope: the region of slip speed, temperature and pressure that was really tested."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, spatial

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.friction.conditions import AXES, Conditions

# How far beyond the tested points an axis may be read: less than a coefficient moves visibly.
SPEED_TOLERANCE = 1.05  # factor
TEMPERATURE_TOLERANCE_K = 2.0
PRESSURE_TOLERANCE = 1.05  # factor

_UNITS = np.array([np.log(SPEED_TOLERANCE), TEMPERATURE_TOLERANCE_K, np.log(PRESSURE_TOLERANCE)])
_LEAST_SPEED_M_S = 1e-6  # stands in for standstill, where ln v has no value


@dataclass(frozen=True, eq=False)
class Envelope:
    """The convex hull of the tested conditions, with a small tolerance.

    The hull is taken in ``(ln v, T, ln p)``, each divided by the tolerance of
    its axis, so that one unit is a small step whatever the axis.  A direction
    in which the points spread less than one unit counts as not varied: there
    the hull is a band.

    Attributes
    ----------
    low, high : (3,) float
        Least and greatest tested slip speed, temperature and pressure.
        [m/s, degC, MPa]
    normals : (m, 3) float
        Outward unit normals of the hull's facets, in scaled coordinates.
    offsets : (m,) float
        A condition with scaled coordinates `x` is inside when
        ``normals @ x <= offsets + 1``.
    """

    low: FloatArray
    high: FloatArray
    normals: FloatArray
    offsets: FloatArray

    def __post_init__(self) -> None:
        for name in ("low", "high", "normals", "offsets"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def contains(self, conditions: Conditions) -> BoolArray:
        """Return whether each condition lies inside, (n,) bool."""
        inside: BoolArray = np.all(
            scaled(conditions) @ self.normals.T <= self.offsets + 1.0 + 1e-9, axis=1
        )
        return inside

    def to_dict(self) -> dict[str, Any]:
        """Return what `from_dict` needs, ready for JSON."""
        box = {
            axis: [float(low), float(high)]
            for axis, low, high in zip(AXES, self.low, self.high, strict=True)
        }
        return {
            "box": box,
            "coordinates": "ln(slip_speed_m_s), temperature_c, ln(pressure_mpa), each / unit",
            "unit": _UNITS.tolist(),
            "rule": "inside when normals . x <= offsets + 1",
            "normals": self.normals.tolist(),
            "offsets": self.offsets.tolist(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Envelope:
        """Return the envelope that `to_dict` described, in whatever units it was written."""
        low, high = np.array([data["box"][axis] for axis in AXES]).T
        normals = np.reshape(np.array(data["normals"], dtype=float), (-1, 3))
        offsets = np.array(data["offsets"], dtype=float)
        if np.array_equal(data["unit"], _UNITS):
            return cls(low, high, normals, offsets)
        # The tolerance of one unit is kept in today's units: only the hull is carried over.
        normals = normals * (_UNITS / np.array(data["unit"], dtype=float))
        length = np.linalg.norm(normals, axis=1)
        return cls(low, high, normals / length[:, None], offsets / length)


def envelope_of(conditions: Conditions) -> Envelope:
    """Return the envelope of the tested `conditions`."""
    box = np.stack([getattr(conditions, axis) for axis in AXES], axis=1)
    points = scaled(conditions)
    centre = points.mean(axis=0)
    _, _, directions = np.linalg.svd(points - centre, full_matrices=True)
    rotated = (points - centre) @ directions.T
    varied = np.ptp(rotated, axis=0) >= 1.0
    facets = [_band(rotated, int(i)) for i in np.flatnonzero(~varied)]
    facets.append(_hull(rotated, np.flatnonzero(varied)))
    normals = np.concatenate([normal for normal, _ in facets]) @ directions
    offsets = np.concatenate([offset for _, offset in facets]) + normals @ centre
    return Envelope(box.min(axis=0), box.max(axis=0), normals, offsets)


def nearest(envelopes: Sequence[Envelope], conditions: Conditions) -> Conditions | None:
    """Return the tested condition closest to the first of `conditions`.

    Parameters
    ----------
    envelopes : sequence of Envelope
        The result lies inside all of them.
    conditions : Conditions
        Where one would like to be; a single condition.

    Returns
    -------
    Conditions or None
        None when the envelopes have no condition in common.

    Notes
    -----
    Least-distance programming by non-negative least squares: C. L. Lawson and
    R. J. Hanson, Solving Least Squares Problems (1974), chapter 23.
    """
    normals = np.concatenate([envelope.normals for envelope in envelopes])
    offsets = np.concatenate([envelope.offsets for envelope in envelopes])
    point = scaled(conditions)[0]
    if np.all(normals @ point <= offsets + 1.0):
        return conditions.select(np.array([0]))
    # The hulls without their tolerance first, so that the result is really tested ground.
    for tolerance in (0.0, 1.0):
        shortfall = normals @ point - offsets - tolerance
        dual = np.vstack([-normals.T, shortfall])
        weights, distance = optimize.nnls(dual, np.array([0.0, 0.0, 0.0, 1.0]))
        if distance > 1e-9:
            miss = dual @ weights - np.array([0.0, 0.0, 0.0, 1.0])
            return _unscaled(point - miss[:3] / miss[3])
    return None


def scaled(conditions: Conditions) -> FloatArray:
    """Return ``(ln v, T, ln p)`` in tolerances of each axis, (n, 3)."""
    speed = np.log(np.maximum(conditions.slip_speed_m_s, _LEAST_SPEED_M_S))
    pressure = np.log(conditions.pressure_mpa)
    axes = np.stack([speed, conditions.temperature_c, pressure], axis=1)
    coordinates: FloatArray = axes / _UNITS
    return coordinates


def _unscaled(point: FloatArray) -> Conditions:
    speed, temperature, pressure = point * _UNITS
    return Conditions(np.exp(speed), temperature, np.exp(pressure))


def _band(rotated: FloatArray, axis: int) -> tuple[FloatArray, FloatArray]:
    """Return the two facets that bound `axis`."""
    normals = np.zeros((2, 3))
    normals[:, axis] = (-1.0, 1.0)
    return normals, np.array([-rotated[:, axis].min(), rotated[:, axis].max()])


def _hull(rotated: FloatArray, axes: np.ndarray[Any, Any]) -> tuple[FloatArray, FloatArray]:
    """Return the facets of the convex hull in `axes`."""
    if axes.size == 0:
        return np.zeros((0, 3)), np.zeros(0)
    if axes.size == 1:
        return _band(rotated, int(axes[0]))
    equations = np.unique(np.round(spatial.ConvexHull(rotated[:, axes]).equations, 10), axis=0)
    normals = np.zeros((len(equations), 3))
    normals[:, axes] = equations[:, :-1]
    return normals, -equations[:, -1]
