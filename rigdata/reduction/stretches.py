"""Find the stretches of a run in which a channel holds, rises or falls.

All of it works on cells: means over a short time, few enough to walk through
one by one, long enough that noise does not decide.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Stretch:
    """Frames ``start`` to ``stop`` (half open) of a run, and which way they go."""

    start: int
    stop: int
    direction: str = "-"

    def __len__(self) -> int:
        return self.stop - self.start

    @property
    def frames(self) -> slice:
        """The stretch as a slice."""
        return slice(self.start, self.stop)


def median_step(time_s: FloatArray, alone: float = 1.0) -> float:
    """Return the median time between frames, `alone` for a single one. [s]"""
    return float(np.median(np.diff(time_s))) if time_s.size > 1 else alone


def intersect(first: list[Stretch], second: list[Stretch]) -> list[Stretch]:
    """Return the overlaps of two lists of stretches; the direction of `second` holds."""
    return [
        Stretch(max(a.start, b.start), min(a.stop, b.stop), b.direction)
        for a in first
        for b in second
        if a.start < b.stop and b.start < a.stop
    ]


def runs_of(mask: BoolArray) -> list[Stretch]:
    """Return the unbroken stretches in which `mask` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False]))))
    return [Stretch(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def bridge(mask: BoolArray, frames: int) -> BoolArray:
    """Return `mask` with gaps of at most `frames` closed."""
    closed = mask.copy()
    for gap in runs_of(~mask):
        if gap.start > 0 and gap.stop < mask.size and len(gap) <= frames:
            closed[gap.frames] = True
    return closed


def steady_stretches(
    time_s: FloatArray,
    values: FloatArray,
    inside: BoolArray,
    *,
    relative: float,
    cell_s: float,
    least_s: float,
    settle_s: float = 0.0,
) -> list[Stretch]:
    """Return the stretches in which `values` stays within a band about its mean.

    Parameters
    ----------
    time_s, values : (n,) array
        Time and one channel.
    inside : (n,) bool array
        Where to look at all.
    relative : float
        Half-width of the band as a share of the running mean.
    cell_s : float
        Length of the cells over which noise is averaged. [s]
    least_s : float
        Shorter stretches are not returned. [s]
    settle_s : float
        Taken off both ends, where the bench is still settling. [s]
    """
    found: list[Stretch] = []
    for part in runs_of(inside):
        edges = _cell_edges(time_s, part, cell_s)
        means = _cell_means(values, edges)
        for first, last in _held(means, relative):
            start, stop = int(edges[first]), int(edges[last])
            inner = (time_s[start] + settle_s, time_s[stop - 1] - settle_s)
            if inner[1] - inner[0] >= least_s:
                begin = int(np.searchsorted(time_s, inner[0]))
                end = int(np.searchsorted(time_s, inner[1], side="right"))
                found.append(Stretch(begin, end))
    return found


def _held(means: FloatArray, relative: float) -> Iterator[tuple[int, int]]:
    """Yield (first, last) cells between which the means stay in one band.

    A ramp moves through any band in the end, so a stretch also breaks where its
    newest cells have left the band about its own mean.
    """
    first = 0
    while first < means.size:
        total, last = 0.0, first
        while last < means.size:
            total += means[last]
            mean = total / (last - first + 1)
            if abs(means[last] - mean) > relative * abs(mean):
                break
            last += 1
        yield first, max(last, first + 1)
        first = max(last, first + 1)


def legs(
    time_s: FloatArray, values: FloatArray, stretch: Stretch, *, threshold: float, cell_s: float
) -> list[Stretch]:
    """Split a stretch at the turning points of `values` into up and down legs.

    A turn counts when the values have gone back by more than `threshold` (in the
    unit of `values`; the logarithm of a channel makes it relative).  Steps count
    as well as ramps.
    """
    edges = _cell_edges(time_s, stretch, cell_s)
    means = _cell_means(values, edges)
    turns = _turning_points(means, threshold)
    bounds = [stretch.start, *(int(edges[t] + edges[t + 1]) // 2 for t in turns), stretch.stop]
    marks = [0, *turns, means.size - 1]
    parts = []
    for (a, b), (i, j) in zip(pairwise(bounds), pairwise(marks), strict=True):
        change = means[j] - means[i]
        way = "-" if abs(change) <= threshold else ("up" if change > 0 else "down")
        if b > a:
            parts.append(Stretch(a, b, way))
    return parts


def _turning_points(means: FloatArray, threshold: float) -> list[int]:
    """Return the cells at which the values turn round by more than `threshold`."""
    turns: list[int] = []
    way, high, low = 0, 0, 0
    for i, value in enumerate(means):
        high = i if value > means[high] else high
        low = i if value < means[low] else low
        if way != -1 and value < means[high] - threshold:
            turns.append(high)
            way, low = -1, i
        elif way != 1 and value > means[low] + threshold:
            turns.append(low)
            way, high = 1, i
    return [turn for turn in turns if turn > 0]


def binned(values: FloatArray, stretch: Stretch, width: float) -> list[tuple[Stretch, IntArray]]:
    """Group the frames of a stretch by `values` into bins of `width`.

    Returns
    -------
    list of (Stretch, (k,) int array)
        For each bin that was visited: its span in time and its frames.
    """
    part = values[stretch.frames]
    number = np.floor(part / width).astype(np.int64)
    found = []
    for bin_number in np.unique(number):
        frames = np.flatnonzero(number == bin_number) + stretch.start
        span = Stretch(int(frames[0]), int(frames[-1]) + 1, stretch.direction)
        found.append((span, frames))
    return sorted(found, key=lambda item: item[0].start)


def split_evenly(time_s: FloatArray, stretch: Stretch, longest_s: float) -> list[Stretch]:
    """Cut a stretch into equal parts of at most `longest_s`. [s]"""
    span = time_s[stretch.stop - 1] - time_s[stretch.start]
    parts = max(1, int(np.ceil(span / longest_s)))
    cuts = np.linspace(time_s[stretch.start], time_s[stretch.stop - 1], parts + 1)[1:-1]
    edges = [
        stretch.start,
        *(stretch.start + np.searchsorted(time_s[stretch.frames], cuts)),
        stretch.stop,
    ]
    return [Stretch(int(a), int(b), stretch.direction) for a, b in pairwise(edges) if b > a]


def smoothed(values: FloatArray, frames: int) -> FloatArray:
    """Centred moving mean over an odd number of frames, shrinking at the ends."""
    half = frames // 2
    if half < 1:
        return values
    total = np.concatenate(([0.0], np.cumsum(values)))
    index = np.arange(values.size)
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, values.size)
    mean: FloatArray = (total[high] - total[low]) / (high - low)
    return mean


def _cell_edges(time_s: FloatArray, stretch: Stretch, cell_s: float) -> IntArray:
    time = time_s[stretch.frames]
    number = np.floor((time - time[0]) / cell_s).astype(np.int64)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(number)) + 1))
    return np.concatenate((starts, [time.size])) + stretch.start


def _cell_means(values: FloatArray, edges: IntArray) -> FloatArray:
    totals = np.add.reduceat(values[edges[0] : edges[-1]], edges[:-1] - edges[0])
    means: FloatArray = totals / np.diff(edges)
    return means
