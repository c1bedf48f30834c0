"""Samples to frames, block by block, with nothing depending on the blocks.

A stream keeps the last samples of a block as the neighbourhood of the next, and
closes a frame only when all its samples have come, so that every frame is the
mean of the same numbers in the same order however the log is cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.logs.flags import Flag, gaps, needed, settled
from rigdata.logs.judge import ColumnRequest, FlagArray, Rail, judged

# Of the means; a stuck sample is only marked.
LEFT_OUT = (Flag.MISSING | Flag.SATURATED | Flag.SPIKE | Flag.GAP).value


@dataclass(frozen=True, eq=False)
class ColumnFrames:
    """One column averaged into frames.

    Attributes
    ----------
    means : (n,) array
        Mean of the good samples, NaN where there is none.
    good : (n,) int array
        Good samples.
    flags : (n,) uint8 array
        Union of the flags of all samples.
    counts : mapping of Flag to int
        Flagged samples.
    """

    means: FloatArray
    good: IntArray
    flags: FlagArray
    counts: Mapping[Flag, int]


@dataclass(frozen=True, eq=False)
class StreamFrames:
    """All columns of one stream averaged into frames.

    Attributes
    ----------
    frames : (n,) int array
        Number of each frame, rising.
    time_s : (n,) array
        Mean time of the samples of each frame. [s]
    n_samples : (n,) int array
        Samples in each frame.
    columns : mapping of str to ColumnFrames
        The columns by key.
    """

    frames: IntArray
    time_s: FloatArray
    n_samples: IntArray
    columns: Mapping[str, ColumnFrames]


class Stream:
    """Columns that share their sample times.

    Parameters
    ----------
    requests : mapping of str to ColumnRequest
        The columns.
    resolutions : mapping of str to float
        Smallest step of each column.
    sample_s : float
        Median time between samples. [s]
    start_s, end_s : float
        First and last time to use; samples outside only serve as neighbours. [s]
    """

    def __init__(
        self,
        requests: Mapping[str, ColumnRequest],
        resolutions: Mapping[str, float],
        sample_s: float,
        start_s: float,
        end_s: float,
    ) -> None:
        self._columns = {
            key: _Column(request, resolutions[key]) for key, request in requests.items()
        }
        self._sample_s = sample_s
        self._start_s, self._end_s = start_s, end_s
        self._time = np.empty(0)
        self._frames = np.empty(0, np.int64)
        self._values = dict.fromkeys(requests, np.empty(0))
        self._done = 0  # samples at the start that are only neighbourhood
        self._parts: list[tuple[IntArray, FloatArray, IntArray]] = []

    def push(self, time_s: FloatArray, frames: IntArray, values: Mapping[str, FloatArray]) -> None:
        """Take the next samples, with rising time and the frame of each."""
        self._time = np.concatenate((self._time, time_s))
        self._frames = np.concatenate((self._frames, frames))
        for key, held in self._values.items():
            self._values[key] = np.concatenate((held, values[key]))
        stop = settled(self._time)
        if stop < self._time.size:
            stop = int(np.searchsorted(self._frames, self._frames[stop], side="left"))
        self._close(stop)

    def finish(self) -> StreamFrames:
        """Close the last frames and return all of them."""
        self._close(self._time.size)
        parts = self._parts
        return StreamFrames(
            frames=_all([part[0] for part in parts], np.int64),
            time_s=_all([part[1] for part in parts], np.float64),
            n_samples=_all([part[2] for part in parts], np.int64),
            columns={key: column.finish() for key, column in self._columns.items()},
        )

    def _close(self, stop: int) -> None:
        """Close the frames of the samples before `stop`."""
        time = self._time
        first = max(self._done, int(np.searchsorted(time, self._start_s, side="left")))
        last = min(stop, int(np.searchsorted(time, self._end_s, side="right")))
        if stop <= self._done:
            return
        if first < last:
            core = slice(first, last)
            cuts = _Cuts(self._frames[core])
            gap = gaps(time, self._sample_s)
            for key, column in self._columns.items():
                column.take(time, self._values[key], gap, self._frames, core, cuts)
            self._parts.append((self._frames[core][cuts.starts], cuts.times(time[core]), cuts.n))
        keep = needed(time, stop)
        self._time, self._frames = time[keep:], self._frames[keep:]
        self._values = {key: values[keep:] for key, values in self._values.items()}
        self._done = stop - keep


class _Cuts:
    """Where the frames of a stretch of samples start."""

    def __init__(self, frames: IntArray) -> None:
        self.starts = np.concatenate(([0], np.flatnonzero(np.diff(frames)) + 1))
        self.n = np.diff(np.concatenate((self.starts, [frames.size])))
        self._single = self.starts.size == frames.size

    def sums(self, values: FloatArray) -> FloatArray:
        return values if self._single else np.add.reduceat(values, self.starts)

    def counts(self, chosen: FlagArray) -> IntArray:
        return np.asarray(np.add.reduceat(chosen, self.starts, dtype=np.int64))

    def unions(self, flags: FlagArray) -> FlagArray:
        return flags if self._single else np.bitwise_or.reduceat(flags, self.starts)

    def times(self, time_s: FloatArray) -> FloatArray:
        """Return the mean time of each frame, taken from its first time to keep digits."""
        if self._single:
            return time_s
        first = time_s[self.starts]
        return first + np.add.reduceat(time_s - np.repeat(first, self.n), self.starts) / self.n


class _Column:
    """Frames of one column as they are closed."""

    def __init__(self, request: ColumnRequest, resolution: float) -> None:
        self._request = request
        self._resolution = resolution
        self._rails = (Rail(1.0, resolution), Rail(-1.0, resolution))
        self._frames: list[IntArray] = []
        self._means: list[FloatArray] = []
        self._good: list[IntArray] = []
        self._flags: list[FlagArray] = []
        self._counts = dict.fromkeys(Flag, 0)

    def take(
        self,
        time_s: FloatArray,
        raw: FloatArray,
        gap: np.ndarray,
        frames: IntArray,
        core: slice,
        cuts: _Cuts,
    ) -> None:
        """Judge the samples and close the frames of `core`."""
        values, steps, flags = judged(time_s, raw, gap, self._request, self._resolution)
        self._frames.append(frames[core][cuts.starts])
        if flags is None:
            self._means.append(cuts.sums(values[core]) / cuts.n)
            self._good.append(cuts.n)
            self._flags.append(np.zeros(cuts.n.size, np.uint8))
        else:
            own = flags[core]
            good = (own & LEFT_OUT) == 0
            n_good = cuts.counts(good.view(np.uint8))
            sums = cuts.sums(np.where(good, values[core], 0.0))
            with np.errstate(invalid="ignore"):
                self._means.append(np.where(n_good > 0, sums / n_good, np.nan))
            self._good.append(n_good)
            self._flags.append(cuts.unions(own))
            for flag in Flag:
                self._counts[flag] += int(np.count_nonzero(own & flag.value))
            values = np.where((flags & LEFT_OUT) == 0, values, np.nan)
        for rail in self._rails:
            rail.look(time_s, values, steps, frames, core)

    def finish(self) -> ColumnFrames:
        frames = _all(self._frames, np.int64)
        means, good = _all(self._means, np.float64), _all(self._good, np.int64)
        flags = _all(self._flags, np.uint8)
        for rail in self._rails:
            held, count = rail.saturated()
            at = np.searchsorted(frames, held)
            left = good[at] - count
            with np.errstate(invalid="ignore", divide="ignore"):
                rest = (means[at] * good[at] - rail.level * count) / left
            means[at] = np.where(left > 0, rest, np.nan)
            good[at] = left
            flags[at] |= Flag.SATURATED.value
            self._counts[Flag.SATURATED] += int(count.sum())
        counts = {flag: count for flag, count in self._counts.items() if count}
        return ColumnFrames(means, good, flags, counts)


def _all(parts: list[np.ndarray], dtype: type) -> np.ndarray:
    return np.concatenate(parts) if parts else np.empty(0, dtype)
