"""The envelope: the region of slip speed, temperature and pressure that was really tested.

For breakaway the time at rest before it is a fourth quantity.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, spatial

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.friction.conditions import ALL_AXES, AXES, Conditions

# How far beyond the tested points an axis may be read: less than a coefficient moves visibly.
SPEED_TOLERANCE = 1.05  # factor
TEMPERATURE_TOLERANCE_K = 2.0
PRESSURE_TOLERANCE = 1.05  # factor
DWELL_TOLERANCE = 1.2  # factor

_UNITS = np.array(
    [
        np.log(SPEED_TOLERANCE),
        TEMPERATURE_TOLERANCE_K,
        np.log(PRESSURE_TOLERANCE),
        np.log(DWELL_TOLERANCE),
    ]
)
_COORDINATES = ("ln(slip_speed_m_s)", "temperature_c", "ln(pressure_mpa)", "ln(dwell_s)")
_BLOCK = 8192  # conditions worked on together, so that they stay in fast memory
_LEAST_SPEED_M_S = 1e-6  # stands in for standstill, where ln v has no value


@dataclass(frozen=True, eq=False)
class Envelope:
    """The convex hull of the tested conditions, with a small tolerance.

    The hull is taken in ``(ln v, T, ln p)``, of breakaways whose dwell is known
    in ``(ln v, T, ln p, ln t)``, each divided by the tolerance of its axis, so
    that one unit is a small step whatever the axis.  A direction in which the
    points spread less than one unit counts as not varied: there the hull is a
    band.

    Attributes
    ----------
    low, high : (k,) float
        Least and greatest tested slip speed, temperature and pressure, and of
        breakaways dwell. [m/s, degC, MPa, s]
    normals : (m, k) float
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

    @property
    def axes(self) -> tuple[str, ...]:
        """Names of the k quantities."""
        return ALL_AXES[: self.low.size]

    def contains(self, conditions: Conditions) -> BoolArray:
        """Return whether each condition lies inside, (n,) bool."""
        place, limits = scaled(conditions, self.axes), self.offsets + 1.0 + 1e-9
        inside = np.empty(len(place), dtype=np.bool_)
        for start in range(0, len(place), _BLOCK):
            block = slice(start, start + _BLOCK)
            inside[block] = np.all(place[block] @ self.normals.T <= limits, axis=1)
        return inside

    def to_dict(self) -> dict[str, Any]:
        """Return what `from_dict` needs, ready for JSON."""
        box = {
            axis: [float(low), float(high)]
            for axis, low, high in zip(self.axes, self.low, self.high, strict=True)
        }
        size = self.low.size
        return {
            "box": box,
            "coordinates": ", ".join(_COORDINATES[:size]) + ", each / unit",
            "unit": _UNITS[:size].tolist(),
            "rule": "inside when normals . x <= offsets + 1",
            "normals": self.normals.tolist(),
            "offsets": self.offsets.tolist(),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Envelope:
        """Return the envelope that `to_dict` described, in whatever units it was written."""
        low, high = np.array([data["box"][axis] for axis in ALL_AXES if axis in data["box"]]).T
        units = _UNITS[: low.size]
        normals = np.reshape(np.array(data["normals"], dtype=float), (-1, low.size))
        offsets = np.array(data["offsets"], dtype=float)
        if offsets.shape != normals.shape[:1]:
            raise ValueError("an envelope has one offset for each of its normals")
        if np.array_equal(data["unit"], units):
            return cls(low, high, normals, offsets)
        # The tolerance of one unit is kept in today's units: only the hull is carried over.
        normals = normals * (units / np.array(data["unit"], dtype=float))
        length = np.linalg.norm(normals, axis=1)
        return cls(low, high, normals / length[:, None], offsets / length)


def envelope_of(conditions: Conditions) -> Envelope:
    """Return the envelope of the tested `conditions`, with their dwell where all have one."""
    axes = ALL_AXES if np.all(np.isfinite(conditions.dwell_s)) else AXES
    box = np.stack([getattr(conditions, axis) for axis in axes], axis=1)
    points = scaled(conditions, axes)
    centre = points.mean(axis=0)
    triangle = np.linalg.qr(points - centre, mode="r")
    _, _, directions = np.linalg.svd(triangle, full_matrices=True)
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
        The result lies inside all of them; all of the same quantities.
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
    point = scaled(conditions, envelopes[0].axes)[0]
    target = np.append(np.zeros(point.size), 1.0)
    if np.all(normals @ point <= offsets + 1.0):
        return conditions.select(np.array([0]))
    # The hulls without their tolerance first, so that the result is really tested ground.
    for tolerance in (0.0, 1.0):
        shortfall = normals @ point - offsets - tolerance
        dual = np.vstack([-normals.T, shortfall])
        weights, distance = optimize.nnls(dual, target)
        if distance > 1e-9:
            miss = dual @ weights - target
            return _unscaled(point - miss[:-1] / miss[-1])
    return None


def scaled(conditions: Conditions, axes: Sequence[str] = AXES) -> FloatArray:
    """Return ``(ln v, T, ln p)``, and ``ln t`` where asked for, in tolerances, (n, k)."""
    speed = np.maximum(conditions.slip_speed_m_s, _LEAST_SPEED_M_S)
    coordinates = [np.log(speed), conditions.temperature_c, np.log(conditions.pressure_mpa)]
    if len(axes) > len(AXES):
        coordinates.append(np.log(conditions.dwell_s))
    place: FloatArray = np.stack(coordinates, axis=1) / _UNITS[: len(axes)]
    return place


def _unscaled(point: FloatArray) -> Conditions:
    speed, temperature, pressure, *dwell = point * _UNITS[: point.size]
    still = speed < np.log(_LEAST_SPEED_M_S * SPEED_TOLERANCE)
    return Conditions(
        0.0 if still else np.exp(speed), temperature, np.exp(pressure), *np.exp(dwell)
    )


def _band(rotated: FloatArray, axis: int) -> tuple[FloatArray, FloatArray]:
    """Return the two facets that bound `axis`."""
    normals = np.zeros((2, rotated.shape[1]))
    normals[:, axis] = (-1.0, 1.0)
    return normals, np.array([-rotated[:, axis].min(), rotated[:, axis].max()])


def _hull(rotated: FloatArray, axes: np.ndarray[Any, Any]) -> tuple[FloatArray, FloatArray]:
    """Return the facets of the convex hull in `axes`."""
    size = rotated.shape[1]
    if axes.size == 0:
        return np.zeros((0, size)), np.zeros(0)
    if axes.size == 1:
        return _band(rotated, int(axes[0]))
    equations = np.unique(np.round(spatial.ConvexHull(rotated[:, axes]).equations, 10), axis=0)
    normals = np.zeros((len(equations), size))
    normals[:, axes] = equations[:, :-1]
    return normals, -equations[:, -1]
