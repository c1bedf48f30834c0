"""The nodes of a coefficient table, chosen for linear interpolation.

Along each axis the nodes are placed greedily: from one node to the farthest
next one at which straight lines still follow the law, on a set of lines that
covers the other two axes.  Where the law falls with the logarithm of slip
speed, geometric spacing arises by itself.  The grid is then checked where it
is weakest (between the nodes) and on a random sample, and chosen again with a
smaller allowance until the check holds.  What is narrower than the lines are apart,
such as the end of an interval where one cause takes over from another, gets nodes of
its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.errors import TableError
from rigdata.tables.grid_check import Check, Region, Surface, checked, fewest_digits, with_more
from rigdata.tables.interpolation import Axes

Box = tuple[tuple[float, float], ...]

MOST_NODES = 20_000
_FINE = 240  # candidate nodes along an axis
_LINES = 7  # lines across each of the other axes
_SAMPLE = 20_000
_SEED = 20_011
_ASSURANCE = 0.97  # the check looks at many places, not at all of them
# The axes share the tolerance.  A third each always suffices for three, but the errors seldom
# meet in one place, so the first trials are bolder and their tables smaller.
_SHARES = (0.6, 0.5, 0.42, 1.0 / 3.0, 0.25, 0.15)
_ROUNDS = 16  # of nodes where the check fails


@dataclass(frozen=True, eq=False)
class Grid:
    """Nodes of a table.

    Attributes
    ----------
    axes : arrays (n_v,), (n_t,), (n_p,), ...
        Nodes of each axis, strictly increasing. [m/s, degC, MPa, s]
    error : float
        Largest error of linear interpolation found, as a fraction of mu.
    """

    axes: Axes
    error: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "axes", tuple(frozen(nodes) for nodes in self.axes))


def choose_grid(
    surface: Surface,
    box: Box,
    *,
    tolerance: float,
    inside: Region | None = None,
    keep: tuple[float, ...] | None = None,
) -> Grid:
    """Choose nodes so that linear interpolation follows `surface` within `tolerance`.

    Parameters
    ----------
    surface : callable (v, T, p) or (v, T, p, t) -> (m,) or (k, m) array
        mu from the law with its fitted parameters; with k rows, mu is the first
        and the others, such as the ends of its intervals, keep the same
        promise. [m/s, degC, MPa, s]
    box : three or four (low, high) pairs
        Range of each axis; low may equal high.
    tolerance : float
        Largest allowed error as a fraction of mu.
    inside : callable of the same -> (m,) bool array, optional
        Where the tolerance must hold; everywhere in the box by default.
    keep : as many floats, optional
        A condition at which the table shall give the law itself.

    Raises
    ------
    TableError
        When the tolerance is not positive, when the law is not a positive
        number where the tolerance must hold, or when no grid of up to
        `MOST_NODES` nodes keeps it.
    """
    if not tolerance > 0.0:
        raise TableError(f"interpolation tolerance {tolerance:g}", expected="a number above zero")
    region = inside or _everywhere
    probe = _sample(box)
    if not np.all(np.atleast_2d(surface(*probe))[0, region(*probe)] > 0.0):
        raise TableError(
            "the law is zero, negative or not a number inside the envelope",
            expected="a positive coefficient wherever the material was tested",
            do="Look at the fit before making a table of it.",
        )
    lines = [_lines_along(surface, box, axis, region) for axis in range(len(box))]
    allowed, error = _ASSURANCE * tolerance, np.inf
    best: tuple[Axes, Check] | None = None
    for share in _SHARES:
        axes = tuple(
            _with(_axis_nodes(lines[axis], share * tolerance), keep[axis] if keep else None)
            for axis in range(len(box))
        )
        if _count(axes) > MOST_NODES:
            break
        check = checked(surface, axes, region, probe)
        error = check.largest
        if error <= allowed:
            return Grid(axes, error)
        if best is None or error < best[1].largest:
            best = (axes, check)
    if best is not None:
        axes, check = best
        for _ in range(_ROUNDS):
            axes = with_more(surface, axes, check, allowed)
            if _count(axes) > MOST_NODES:
                break
            check = checked(surface, axes, region, probe)
            error = check.largest
            if error <= allowed:
                return Grid(axes, error)
    raise TableError(
        f"no grid of up to {MOST_NODES} nodes follows the law within {tolerance:.2%}"
        + (f" (the last try reached {error:.2%})" if np.isfinite(error) else ""),
        do="Ask for a wider tolerance, or fit a simpler law.",
    )


def _everywhere(*place: FloatArray) -> BoolArray:
    return np.ones(place[0].shape, dtype=np.bool_)


def _sample(box: Box) -> Axes:
    """Random conditions, spread evenly in the logarithm of slip speed for every other one."""
    unit = np.random.default_rng(_SEED).random((len(box), _SAMPLE))
    place = [low + (high - low) * share for (low, high), share in zip(box, unit, strict=True)]
    (low, high), every_other = box[0], slice(None, None, 2)
    if low > 0.0:
        place[0][every_other] = np.clip(low * (high / low) ** unit[0, every_other], low, high)
    return tuple(place)


def _candidates(low: float, high: float) -> FloatArray:
    """Places for nodes along one axis: even steps, and even ratios where they make sense."""
    even = np.linspace(low, high, _FINE)
    if low < 0.0 or high <= 0.0:
        return even
    ratios = np.geomspace(max(low, 1e-4 * high), high, _FINE)
    return np.unique(np.clip(np.concatenate([even, ratios]), low, high))


@dataclass(frozen=True, eq=False)
class _Lines:
    """What a surface does along one axis, on lines through the others.

    `values` is (n, k, lines) on the n candidates `fine`; `counts` is (n, 1,
    lines) and says where the tolerance must hold.
    """

    fine: FloatArray
    values: FloatArray
    counts: BoolArray

    def follow(self, start: int, stop: int, tolerance: float) -> bool:
        """Whether straight lines from `start` to `stop` stay within the tolerance."""
        between = slice(start, stop + 1)
        share = (self.fine[between] - self.fine[start]) / (self.fine[stop] - self.fine[start])
        share = share[:, None, None]
        chord = (1.0 - share) * self.values[start] + share * self.values[stop]
        room = tolerance * np.abs(self.values[between, :1])
        off = np.abs(chord - self.values[between]) > room
        return not np.any(off & self.counts[between])


def _lines_along(surface: Surface, box: Box, axis: int, region: Region) -> _Lines:
    low, high = box[axis]
    fine = _candidates(low, high) if high > low else np.array([low])
    spans = [
        fine if i == axis else np.unique(np.linspace(*ends, _LINES)) for i, ends in enumerate(box)
    ]
    mesh = [grid.ravel() for grid in np.meshgrid(*spans, indexing="ij")]
    shape = tuple(span.size for span in spans)
    values = np.atleast_2d(surface(*mesh)).reshape(-1, *shape)
    values = np.moveaxis(values, axis + 1, 0).reshape(fine.size, values.shape[0], -1)
    counts = np.moveaxis(region(*mesh).reshape(shape), axis, 0).reshape(fine.size, 1, -1)
    return _Lines(fine, values, counts)


def _axis_nodes(lines: _Lines, tolerance: float) -> FloatArray:
    """Place the nodes of one axis, each as far from the last as straight lines allow."""
    nodes = [0]
    while nodes[-1] < lines.fine.size - 1:
        nodes.append(_farthest(lines, nodes[-1], tolerance))
    return _readable(lines.fine[nodes])


def _farthest(lines: _Lines, start: int, tolerance: float) -> int:
    """Return the farthest candidate that straight lines from `start` may reach."""
    good, bad = start + 1, lines.fine.size
    stop = lines.fine.size - 1
    while True:
        if lines.follow(start, stop, tolerance):
            good = stop
        else:
            bad = stop
        if bad - good <= 1:
            return good
        stop = (good + bad) // 2


def _readable(nodes: FloatArray) -> FloatArray:
    """Round inner nodes to the fewest digits that move them by little of their gap."""
    gaps = np.diff(nodes)
    rounded = nodes.copy()
    for i in range(1, nodes.size - 1):
        rounded[i] = fewest_digits(nodes[i], 0.02 * min(gaps[i - 1], gaps[i]))
    return rounded


def _with(nodes: FloatArray, value: float | None) -> FloatArray:
    """Add `value` as a node when it lies within the axis."""
    if value is None or not nodes[0] < value < nodes[-1]:
        return nodes
    return np.unique(np.append(nodes, value))


def _count(axes: Axes) -> int:
    return math.prod(nodes.size for nodes in axes)
