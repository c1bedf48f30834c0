"""The verdict on each sample of one column."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.logs.flags import OVERRANGE, Flag, beyond_numbers, held, outside, spikes, stuck

FlagArray = NDArray[np.uint8]
_STEEP = 4.0  # resolutions


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
    """

    column: str
    low: float | None = None
    high: float | None = None
    may_stick: bool = False


def judged(
    time_s: FloatArray,
    raw: FloatArray,
    gap: BoolArray,
    request: ColumnRequest,
    resolution: float,
) -> tuple[FloatArray, FloatArray, FlagArray | None]:
    """Flag the samples of one column.

    Parameters
    ----------
    time_s, raw : (n,) array
        Samples as read: NaN is missing, an infinity over range.
    gap : (n,) bool array
        Samples after a gap in time.
    request : ColumnRequest
        Range, and whether the channel may stay constant.
    resolution : float
        Smallest step of the channel, 0 when not known.

    Returns
    -------
    values : (n,) array
        The samples, NaN where there is no number.
    steps : (n - 1,) array
        Their differences.
    flags : (n,) uint8 array or None
        Union of `Flag` for each sample, None when there is none at all.
    """
    marks: list[tuple[Flag, BoolArray | None]] = []
    values = raw
    # NaN fails both comparisons, so that a clean block costs two passes.
    if not (raw.min() > -OVERRANGE and raw.max() < OVERRANGE):
        values, over = beyond_numbers(raw)
        marks += [(Flag.SATURATED, over), (Flag.MISSING, np.isnan(values) & ~over)]
    steps = np.diff(values)
    marks.append((Flag.SATURATED, outside(values, request.low, request.high)))
    marks.append((Flag.SPIKE, spikes(values, steps, resolution)))
    if not request.may_stick:
        marks.append((Flag.STUCK, stuck(time_s, steps)))
    if gap.any():
        marks.append((Flag.GAP, gap))
    flags = None
    for flag, found in marks:
        if found is not None:
            flags = np.zeros(raw.size, np.uint8) if flags is None else flags
            flags[found] |= flag.value
    return values, steps, flags


class Rail:
    """Finds where a channel is held at its highest or lowest value: saturation without a range.

    A run of at least 5 samples exactly at the extreme of the whole log, shorter
    than a stuck channel, entered and left by steps over 4 times the resolution,
    is saturated, unless the extreme is 0 or the value with which the channel
    starts or ends: that is where it is parked.

    Parameters
    ----------
    sign : float
        1 for the highest value, -1 for the lowest.
    resolution : float
        Smallest step of the channel.
    """

    def __init__(self, sign: float, resolution: float) -> None:
        self._sign = sign
        self._steep = _STEEP * resolution
        self._found: list[tuple[IntArray, IntArray]] = []
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
        chosen = steep > self._steep
        if not chosen.any():
            return
        edges = np.zeros(values.size + 1, np.int64)
        edges[first[chosen]] += 1
        edges[last[chosen] + 1] -= 1
        inside = np.cumsum(edges[:-1])[core] > 0
        if inside.any():
            self._found.append(np.unique(frames[core][inside], return_counts=True))

    def saturated(self) -> tuple[IntArray, IntArray]:
        """Return the frames with samples held at the extreme, and how many of them."""
        if not self._found or self.level in (0.0, self._first, self._last):
            nothing = np.empty(0, np.int64)
            return nothing, nothing
        return (
            np.concatenate([frames for frames, _ in self._found]),
            np.concatenate([counts for _, counts in self._found]),
        )
