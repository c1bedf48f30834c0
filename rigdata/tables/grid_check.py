"""How far a grid of nodes is from the law, and more nodes where that is too far."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.tables.interpolation import Axes, interpolate

Surface = Callable[..., FloatArray]  # of slip speed, temperature, pressure, and dwell if any
Region = Callable[..., BoolArray]

_AT_ONCE = 8  # places that get a node in one round


@dataclass(frozen=True, eq=False)
class Check:
    """Errors (m,) of linear interpolation as fractions of mu, at conditions (axes, m)."""

    conditions: FloatArray
    errors: FloatArray

    @property
    def largest(self) -> float:
        """The largest error, infinite where one is not a number."""
        worst = float(np.max(self.errors, initial=0.0))
        return worst if np.isfinite(worst) else np.inf


def checked(surface: Surface, axes: Axes, region: Region, probe: Axes) -> Check:
    """Compare a grid with the law between the nodes and on the sample."""
    mesh = [grid.ravel() for grid in np.meshgrid(*axes, indexing="ij")]
    values = np.atleast_2d(surface(*mesh)).reshape(-1, *(nodes.size for nodes in axes))
    places, errors = [], []
    for conditions in (probe, _between(axes)):
        chosen = region(*conditions)
        if not chosen.any():
            continue
        at = tuple(part[chosen] for part in conditions)
        law = np.atleast_2d(surface(*at))
        errors.append(np.max(np.abs(interpolate(axes, values, at) - law), axis=0) / law[0])
        places.append(np.array(at))
    if not errors:
        return Check(np.zeros((len(axes), 0)), np.zeros(0))
    return Check(np.concatenate(places, axis=1), np.concatenate(errors))


def with_more(surface: Surface, axes: Axes, check: Check, allowed: float) -> Axes:
    """Add a node at each of the worst places of a check, on the axis along which the law bends."""
    worst = np.argsort(-check.errors, kind="stable")
    cells: set[tuple[int, ...]] = set()
    added: list[list[float]] = [[] for _ in axes]
    for place in check.conditions[:, worst[check.errors[worst] > allowed]].T:
        cell = tuple(
            int(np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, max(nodes.size - 2, 0)))
            for nodes, at in zip(axes, place, strict=True)
        )
        if cell in cells:
            continue
        cells.add(cell)
        axis = int(np.argmax([_bend(surface, axes, cell, place, i) for i in range(len(axes))]))
        gap = min(abs(axes[axis] - place[axis]), default=0.0)
        added[axis].append(fewest_digits(float(place[axis]), 0.25 * gap))
        if len(cells) == _AT_ONCE:
            break
    return tuple(
        np.unique(np.concatenate([nodes, more])) for nodes, more in zip(axes, added, strict=True)
    )


def _bend(
    surface: Surface, axes: Axes, cell: tuple[int, ...], place: FloatArray, axis: int
) -> float:
    """Distance of the law from the straight line across a cell along one axis, as a fraction."""
    nodes, at = axes[axis], float(place[axis])
    if nodes.size < 2:
        return 0.0
    low, high = float(nodes[cell[axis]]), float(nodes[cell[axis] + 1])
    if not low < at < high:
        return 0.0
    three = np.repeat(place[:, None], 3, axis=1)
    three[axis] = (low, at, high)
    values = np.atleast_2d(surface(*three))
    share = (at - low) / (high - low)
    chord = (1.0 - share) * values[:, 0] + share * values[:, 2]
    return float(np.max(np.abs(chord - values[:, 1]) / values[0, 1]))


def _between(axes: Axes) -> Axes:
    """Conditions at each quarter of the way between nodes, along and across the axes."""
    finer = [
        np.interp(np.arange(4 * nodes.size - 3) / 4.0, np.arange(nodes.size), nodes)
        for nodes in axes
    ]
    return tuple(part.ravel() for part in np.meshgrid(*finer, indexing="ij"))


def fewest_digits(value: float, room: float) -> float:
    """Return `value` rounded to the fewest digits that move it by no more than `room`."""
    tries = (float(f"{value:.{digits}g}") for digits in range(1, 17))
    return next((x for x in tries if abs(x - value) <= room), value)
