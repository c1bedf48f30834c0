"""A slower channel onto the frames of the log, between its own samples."""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.logs.flags import Flag
from rigdata.logs.stream import ColumnFrames, StreamFrames

MOST_PERIODS = 2.5
_HIDDEN = (Flag.MISSING | Flag.SATURATED).value


class Holes:
    """Counts the samples that a sparse column should have had and has not.

    Parameters
    ----------
    period_s : float
        Median time between its samples. [s]
    """

    def __init__(self, period_s: float) -> None:
        self._period_s = period_s
        self._last = np.nan
        self.lost = 0

    def look(self, time_s: FloatArray) -> None:
        """Look at the next samples; a step over 2.5 periods is a hole."""
        steps = np.diff(time_s, prepend=self._last)
        wide = steps[steps > MOST_PERIODS * self._period_s]
        self.lost += int((np.round(wide / self._period_s) - 1.0).sum())
        self._last = float(time_s[-1])


def between_samples(
    own: StreamFrames, key: str, period_s: float, lost: int, onto: StreamFrames, frame_s: float
) -> ColumnFrames:
    """Interpolate a sparse column linearly onto the frames of the log.

    Parameters
    ----------
    own : StreamFrames
        The column in the frames that hold samples of it, alone.
    key : str
        The column.
    period_s : float
        Median time between its samples. [s]
    lost : int
        Samples that it should have had and has not.
    onto : StreamFrames
        The frames of the log.
    frame_s : float
        Length of a frame. [s]

    Returns
    -------
    ColumnFrames
        A frame between two good samples no further apart than 2.5 periods has a
        value.  Any other, also one before the first or after the last sample, is
        NaN and missing.  A flag of a sample holds up to the good samples on
        either side of it.
    """
    column = own.columns[key]
    time = onto.time_s
    usable = column.good > 0
    knots, levels = own.time_s[usable], column.means[usable]
    flags = np.zeros(time.size, np.uint8)
    counts = dict(column.counts)
    if lost:
        counts[Flag.MISSING] = counts.get(Flag.MISSING, 0) + lost
    if knots.size == 0:
        flags |= Flag.MISSING.value
        return _frames(np.full(time.size, np.nan), flags, counts)
    at = np.minimum(np.searchsorted(own.frames, onto.frames), own.frames.size - 1)
    filled = own.frames[at] == onto.frames
    # Interval k lies before knot k, the last one after the last knot.
    reach = MOST_PERIODS * period_s + (frame_s if period_s < frame_s else 0.0)
    wide = np.concatenate(([True], np.diff(knots) > reach, [True]))
    marks = np.zeros(knots.size + 1, np.uint8)
    marks[1:-1] = column.flags[usable][1:] & column.flags[usable][:-1]
    np.bitwise_or.at(marks, np.searchsorted(knots, own.time_s[~usable]), column.flags[~usable])
    interval = np.searchsorted(knots, time, side="left")
    good = filled & usable[at]
    flags[~good] = marks[interval[~good]]
    flags[wide[interval] & ~good] |= Flag.MISSING.value
    flags[filled] |= column.flags[at[filled]]
    return _frames(np.interp(time, knots, levels), flags, counts)


def _frames(values: FloatArray, flags: np.ndarray, counts: dict[Flag, int]) -> ColumnFrames:
    values = np.where((flags & _HIDDEN) > 0, np.nan, values)
    return ColumnFrames(values, (~np.isnan(values)).astype(np.int64), flags, counts)
