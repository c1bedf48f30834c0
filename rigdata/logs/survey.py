"""A first look at a log: its rate, its span, its slower channels.

The look is taken at a fixed number of rows from the start, so that nothing
depends on the size of the blocks in which the log is read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.errors import LogError
from rigdata.logs.block import Block, OpenLog, Tally
from rigdata.logs.order import LATEST_S

LEAST_FRAME_S = 0.005
MOST_FRAMES = 100_000
_LOOKS = (20_000, 100_000, 500_000)  # rows; more only while a channel is hardly seen
_SEEN = 8  # samples that a channel with blank cells must show
# A channel is sparse when it has at least four blank cells, three quarters of them
# between samples that are no further apart than 1.5 of its periods, and when four
# fifths of its samples are 0.5 to 1.5 periods apart.
_LEAST_CELLS = 4
_EXPLAINED = 0.75
_REGULAR = 0.8
_SAME = 0.999


@dataclass(frozen=True)
class Survey:
    """What a first look at a log shows.

    Attributes
    ----------
    start_s : float
        Time of the first row. [s]
    span_s : float
        Time from the first row to the last, 0 when unknown. [s]
    sample_s : float
        Median time between rows. [s]
    mean_sample_s : float
        Span over the estimated number of rows; `sample_s` when unknown. [s]
    periods : mapping of str to float
        Median time between the filled cells of each sparse channel: one with
        blank cells between its samples by design. [s]
    """

    start_s: float
    span_s: float
    sample_s: float
    mean_sample_s: float
    periods: Mapping[str, float]

    @property
    def default_frame_s(self) -> float:
        """Length of a frame unless told otherwise: 5 ms, or 100 000 frames in all. [s]"""
        return max(LEAST_FRAME_S, self.span_s / MOST_FRAMES)

    def expected_frames(self, frame_s: float) -> int:
        """Return about how many frames of a length there are, 1 when unknown."""
        return 1 + int(self.span_s / max(frame_s, self.mean_sample_s))

    def frames_are_samples(self, frame_s: float) -> bool:
        """Tell whether the log is too slow to be averaged over `frame_s`."""
        return self.sample_s >= _SAME * frame_s and self.mean_sample_s >= 0.5 * frame_s


def survey(log: OpenLog, *, where: str) -> Survey:
    """Look at the first rows of a log and at its end.

    Raises
    ------
    LogError
        When the log holds no rows or its time does not increase.
    """
    rows = _first_rows(log)
    if rows.time_s.size == 0:
        raise LogError(
            "the log holds no data lines", where=where, do="Copy it from the logger again"
        )
    rising = _rising(rows.time_s)
    time = rows.time_s[rising]
    if time.size < 2:
        raise LogError(
            f"the time does not increase over the first {rows.time_s.size} rows",
            where=where,
            expected="at least two rows with rising time",
            do="Check time_column, or export the elapsed time with more digits",
        )
    sample_s = float(np.median(np.diff(time)))
    last, count = log.extent()
    known = last is not None and time[0] < last < LATEST_S
    span = last - float(time[0]) if last is not None and known else 0.0
    periods: dict[str, float] = {}
    for key, values in rows.values.items():
        period = sparse_period(time, values[rising])
        if period is not None:
            periods[key] = period
    mean = span / count if known and count else sample_s
    return Survey(float(time[0]), span, sample_s, mean, periods)


def sparse_period(time_s: FloatArray, values: FloatArray) -> float | None:
    """Return the period of a channel with blank cells by design, None for any other.

    Parameters
    ----------
    time_s : (n,) array
        Rising times. [s]
    values : (n,) array
        Cells of the channel, NaN where blank.
    """
    filled = np.flatnonzero(~np.isnan(values))
    blanks = np.diff(filled) - 1
    if min(filled.size, blanks.sum()) < _LEAST_CELLS:
        return None
    intervals = np.diff(time_s[filled])
    period = float(np.median(intervals))
    near = intervals <= 1.5 * period
    regular = np.count_nonzero(near & (intervals >= 0.5 * period)) >= _REGULAR * near.size
    explained = blanks[near].sum() >= _EXPLAINED * blanks.sum()
    return period if regular and explained else None


def _first_rows(log: OpenLog) -> Block:
    """Return enough rows from the start to see every channel."""
    parts: list[Block] = []
    count = 0
    looks = iter(_LOOKS)
    look = next(looks)
    for block in log.blocks(Tally()):
        parts.append(block)
        count += block.time_s.size
        while count >= look:
            rows = _joined(parts, look)
            longer = next(looks, None)
            if longer is None or all(_is_seen(values) for values in rows.values.values()):
                return rows
            parts, look = [_joined(parts, count)], longer
    return _joined(parts, count)


def _joined(parts: list[Block], most: int) -> Block:
    if not parts:
        return Block(np.empty(0), {})
    return Block(
        np.concatenate([part.time_s for part in parts])[:most],
        {
            key: np.concatenate([part.values[key] for part in parts])[:most]
            for key in parts[0].values
        },
    )


def _is_seen(values: FloatArray) -> bool:
    blank = np.isnan(values)
    return bool(np.count_nonzero(~blank) >= min(_SEEN, blank.size))


def _rising(time_s: FloatArray) -> BoolArray:
    """Return the rows whose time is above that of every row before."""
    plain = np.where(np.abs(time_s) < LATEST_S, time_s, -np.inf)
    before = np.maximum.accumulate(np.concatenate(([-np.inf], plain[:-1])))
    return plain > before
