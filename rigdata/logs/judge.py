"""The verdict on each sample of one column."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.logs.flags import (
    OVERRANGE,
    RESOLUTIONS,
    Flag,
    beyond_numbers,
    held,
    outside,
    stuck,
)
from rigdata.logs.spikes import bridged

FlagArray = NDArray[np.uint8]


@dataclass(frozen=True)
class ColumnRequest:
    """A wanted column of a log.

    Attributes
    ----------
    column : str
        Its name in the log, with or without the unit in brackets.
    low, high : float or None
        Range of the channel in logged units; values beyond are saturated.
    may_stick : bool
        The channel may stay exactly constant, such as a standstill speed.
    spread : bool
        Whether the spread of the samples within each frame is wanted too.
    """

    column: str
    low: float | None = None
    high: float | None = None
    may_stick: bool = False
    spread: bool = False


@dataclass(frozen=True, eq=False)
class Verdict:
    """What was found out about the samples of one column.

    Attributes
    ----------
    values : (n,) array
        The samples, NaN where there is no number.
    steps : (n - 1,) array
        Their differences.
    flags : (n,) uint8 array or None
        Union of `Flag` for each sample, None when there is none at all.
    spikes : (s,) int array
        Samples flagged as spikes.
    heights : (s,) array
        Height of each.
    """

    values: FloatArray
    steps: FloatArray
    flags: FlagArray | None
    spikes: IntArray
    heights: FloatArray


Spikes = Callable[[FloatArray, FloatArray], tuple[IntArray, FloatArray]]


def judged(
    time_s: FloatArray,
    raw: FloatArray,
    gap: BoolArray,
    request: ColumnRequest,
    find_spikes: Spikes,
) -> Verdict:
    """Flag the samples of one column.

    Parameters
    ----------
    time_s, raw : (n,) array
        Samples as read: NaN is missing, an infinity over range.
    gap : (n,) bool array
        Samples after a gap in time.
    request : ColumnRequest
        Range, and whether the channel may stay constant.
    find_spikes : callable
        From values and steps to the samples of spikes and their heights.
    """
    marks: list[tuple[Flag, BoolArray | IntArray | None]] = []
    values = raw
    # NaN fails both comparisons, so that a clean block costs two passes.
    if not (raw.min() > -OVERRANGE and raw.max() < OVERRANGE):
        values, over = beyond_numbers(raw)
        marks += [(Flag.SATURATED, over), (Flag.MISSING, np.isnan(values) & ~over)]
    steps = np.diff(values)
    if values is raw:
        at, heights = find_spikes(values, steps)
    else:
        whole = bridged(values)
        at, heights = find_spikes(whole, np.diff(whole))
        there = ~np.isnan(values[at])
        at, heights = at[there], heights[there]
    marks.append((Flag.SATURATED, outside(values, request.low, request.high)))
    marks.append((Flag.SPIKE, at if at.size else None))
    if not request.may_stick:
        marks.append((Flag.STUCK, stuck(time_s, steps)))
    if gap.any():
        marks.append((Flag.GAP, gap))
    flags = None
    for flag, found in marks:
        if found is not None:
            flags = np.zeros(raw.size, np.uint8) if flags is None else flags
            flags[found] |= flag.value
    return Verdict(values, steps, flags, at, heights)


class Rail:
    """Finds where a channel is held at its highest or lowest value: saturation without a range.

    A run of at least 5 samples exactly at the extreme of the whole log, shorter
    than a stuck channel, entered and left by steps over 4 times the smallest
    step of the channel, is saturated, unless the extreme is 0 or the value with
    which the channel starts or ends: that is where it is parked.

    Parameters
    ----------
    sign : float
        1 for the highest value, -1 for the lowest.
    """

    def __init__(self, sign: float) -> None:
        self._sign = sign
        self._found: list[tuple[IntArray, IntArray, FloatArray]] = []
        self._first = self._last = np.nan
        self.level = np.nan

    def look(
        self,
        time_s: FloatArray,
        values: FloatArray,
        steps: FloatArray,
        frames: IntArray,
        core: slice,
    ) -> None:
        """Look at the samples of `core`; the others are their neighbourhood.

        Values that are flagged already must be NaN.
        """
        own = values[core]
        extreme = np.fmax.reduce(own) if self._sign > 0.0 else np.fmin.reduce(own)
        if np.isnan(extreme):
            return
        known = own[~np.isnan(own)] if np.isnan(own[0]) or np.isnan(own[-1]) else own
        self._first = float(known[0]) if np.isnan(self._first) else self._first
        self._last = float(known[-1])
        if np.isnan(self.level) or self._sign * (extreme - self.level) > 0.0:
            self.level = float(extreme)
            self._found.clear()
        if extreme != self.level:
            return
        first, last, steep = held(time_s, values, steps, self.level)
        first, last = np.maximum(first, core.start), np.minimum(last, core.stop - 1)
        length = np.maximum(last - first + 1, 0)
        run = np.repeat(np.arange(length.size), length)
        if run.size == 0:
            return
        at = np.arange(run.size) - np.repeat(np.cumsum(length) - length, length) + first[run]
        cuts = np.flatnonzero((np.diff(run) > 0) | (np.diff(frames[at]) > 0)) + 1
        starts = np.concatenate(([0], cuts))
        counts = np.diff(np.concatenate((starts, [run.size])))
        self._found.append((frames[at][starts], counts, steep[run][starts]))

    def saturated(self, smallest_step: float) -> tuple[IntArray, IntArray]:
        """Return the frames with samples held at the extreme, and how many of them."""
        if not self._found or self.level in (0.0, self._first, self._last):
            nothing = np.empty(0, np.int64)
            return nothing, nothing
        frames, counts, steep = (np.concatenate(parts) for parts in zip(*self._found, strict=True))
        chosen = steep > RESOLUTIONS * smallest_step
        numbers, place = np.unique(frames[chosen], return_inverse=True)
        return numbers, np.bincount(place, counts[chosen], numbers.size).astype(np.int64)
