"""Samples to frames, block by block, with nothing depending on the blocks.

A stream keeps the last samples of a block as the neighbourhood of the next, and
closes a frame only when all its samples have come, so that every frame is the
mean of the same numbers in the same order however the log is cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.logs.flags import RESOLUTIONS, Flag, gaps, needed, settled, smallest_step
from rigdata.logs.gathered import Gathered
from rigdata.logs.judge import ColumnRequest, FlagArray, Rail, judged
from rigdata.logs.spikes import SpikesOnce

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
    squares : (n,) array or None
        Mean square of the good samples, where the request asks for their spread.
    """

    means: FloatArray
    good: IntArray
    flags: FlagArray
    counts: Mapping[Flag, int]
    squares: FloatArray | None = None

    @property
    def spread(self) -> FloatArray | None:
        """(n,) standard deviation of the good samples about the mean of their frame."""
        if self.squares is None:
            return None
        spread: FloatArray = np.sqrt(np.maximum(self.squares - self.means**2, 0.0))
        return spread


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
    sample_s : float
        Median time between samples. [s]
    start_s, end_s : float
        First and last time to use; samples outside only serve as neighbours. [s]
    expected : int
        About how many frames there will be.
    """

    def __init__(
        self,
        requests: Mapping[str, ColumnRequest],
        sample_s: float,
        start_s: float,
        end_s: float,
        expected: int,
    ) -> None:
        self._columns = {key: _Column(request, expected) for key, request in requests.items()}
        self._sample_s = sample_s
        self._start_s, self._end_s = start_s, end_s
        self._time = np.empty(0)
        self._frames = np.empty(0, np.int64)
        self._values = dict.fromkeys(requests, np.empty(0))
        self._done = 0  # samples at the start that are only neighbourhood
        self._dropped = 0  # samples before them
        self._numbers = Gathered(np.int64, expected)
        self._times = Gathered(np.float64, expected)
        self._sizes = Gathered(np.int64, expected)

    def push(self, time_s: FloatArray, frames: IntArray, values: Mapping[str, FloatArray]) -> None:
        """Take the next samples, with rising time and the frame of each."""
        self._time = np.concatenate((self._time, time_s))
        self._frames = np.concatenate((self._frames, frames))
        for key, held in self._values.items():
            self._values[key] = np.concatenate((held, values[key]))
        stop = settled(self._time)
        if stop < self._time.size:
            stop = int(np.searchsorted(self._frames, self._frames[stop], side="left"))
        self._close(stop, last=False)

    def finish(self) -> StreamFrames:
        """Close the last frames and return all of them."""
        self._close(self._time.size, last=True)
        numbers = self._numbers.all()
        return StreamFrames(
            frames=numbers,
            time_s=self._times.all(),
            n_samples=self._sizes.all(),
            columns={key: column.finish(numbers) for key, column in self._columns.items()},
        )

    def _close(self, stop: int, *, last: bool) -> None:
        """Close the frames of the samples before `stop`."""
        time = self._time
        first = max(self._done, int(np.searchsorted(time, self._start_s, side="left")))
        end = min(stop, int(np.searchsorted(time, self._end_s, side="right")))
        if stop <= self._done:
            return
        if first < end:
            core = slice(first, end)
            gap = gaps(time, self._sample_s)
            near = _Stretch(time, self._frames, gap, core, self._dropped, last)
            cuts = Cuts(self._frames[core])
            for key, column in self._columns.items():
                column.take(near, self._values[key], cuts)
            self._numbers.add(self._frames[core][cuts.starts])
            self._times.add(cuts.times(time[core]))
            self._sizes.add(cuts.n)
        keep = needed(time, stop)
        self._time, self._frames = time[keep:], self._frames[keep:]
        self._values = {key: values[keep:] for key, values in self._values.items()}
        self._done = stop - keep
        self._dropped += keep


@dataclass(frozen=True, eq=False)
class _Stretch:
    """Samples at hand: those of the core are averaged now, the others are their neighbourhood.

    `start` is the number in the log of the first, `last` whether the log ends with them.
    """

    time_s: FloatArray
    frames: IntArray
    gap: BoolArray
    core: slice
    start: int
    last: bool


class Cuts:
    """Where the frames of a stretch of samples start."""

    def __init__(self, frames: IntArray) -> None:
        self.starts = np.concatenate(([0], np.flatnonzero(np.diff(frames)) + 1))
        self.n = np.diff(np.concatenate((self.starts, [frames.size])))
        self._single = self.starts.size == frames.size

    def sums(self, values: FloatArray) -> FloatArray:
        """Return the sum over each frame."""
        return values if self._single else np.add.reduceat(values, self.starts)

    def counts(self, chosen: FlagArray) -> IntArray:
        """Return how many samples of each frame are chosen, of 0 and 1."""
        return np.asarray(np.add.reduceat(chosen, self.starts, dtype=np.int64))

    def unions(self, flags: FlagArray) -> FlagArray:
        """Return the union of the flags of each frame."""
        return flags if self._single else np.bitwise_or.reduceat(flags, self.starts)

    def times(self, time_s: FloatArray) -> FloatArray:
        """Return the mean time of each frame, taken from its first time to keep digits."""
        if self._single:
            return time_s
        first = time_s[self.starts]
        return first + np.add.reduceat(time_s - np.repeat(first, self.n), self.starts) / self.n


class _Column:
    """Frames of one column as they are closed."""

    def __init__(self, request: ColumnRequest, expected: int) -> None:
        self._request = request
        self._rails = (Rail(1.0), Rail(-1.0))
        self._spikes_once = SpikesOnce()
        self._smallest = np.inf
        self._spikes: list[tuple[IntArray, FloatArray, FloatArray]] = []
        self._means = Gathered(np.float64, expected)
        self._squares = Gathered(np.float64, expected) if request.spread else None
        self._good = Gathered(np.int64, expected)
        self._flags = Gathered(np.uint8, expected)
        self._counts = dict.fromkeys(Flag, 0)

    def take(self, near: _Stretch, raw: FloatArray, cuts: Cuts) -> None:
        """Judge the samples and close the frames of the core."""
        core, frames = near.core, near.frames
        find_spikes = partial(self._spikes_once.within, near.start, last=near.last)
        found = judged(near.time_s, raw, near.gap, self._request, find_spikes)
        values = found.values
        into = found.steps[max(0, core.start - 1) : core.stop - 1]
        self._smallest = min(self._smallest, smallest_step(into))
        if found.flags is None:
            own_values = values[core]
            self._means.add(cuts.sums(own_values) / cuts.n)
            if self._squares is not None:
                self._squares.add(cuts.sums(own_values * own_values) / cuts.n)
            self._good.add(cuts.n)
            self._flags.add(np.zeros(cuts.n.size, np.uint8))
        else:
            own = found.flags[core]
            good = (own & LEFT_OUT) == 0
            n_good = cuts.counts(good.view(np.uint8))
            kept = np.where(good, values[core], 0.0)
            self._means.add(_mean(cuts.sums(kept), n_good))
            if self._squares is not None:
                self._squares.add(_mean(cuts.sums(kept * kept), n_good))
            self._good.add(n_good)
            self._flags.add(cuts.unions(own & ~np.uint8(Flag.SPIKE)))
            for flag in Flag:
                self._counts[flag] += int(np.count_nonzero(own & flag.value))
            inside = (found.spikes >= core.start) & (found.spikes < core.stop)
            at = found.spikes[inside]
            lone = (found.flags[at] & LEFT_OUT) == Flag.SPIKE.value
            heights = np.where(lone, found.heights[inside], np.inf)
            self._spikes.append((frames[at], values[at], heights))
            values = np.where((found.flags & LEFT_OUT) == 0, values, np.nan)
        for rail in self._rails:
            rail.look(near.time_s, values, found.steps, frames, core)

    def finish(self, frames: IntArray) -> ColumnFrames:
        """Settle what only the whole log can tell: which spikes and which holds are faults."""
        means, good, flags = self._means.all(), self._good.all(), self._flags.all()
        squares = None if self._squares is None else self._squares.all()
        moments = ((1, means),) if squares is None else ((1, means), (2, squares))
        for numbers, values, heights in self._spikes:
            at = np.searchsorted(frames, numbers)
            small = heights <= RESOLUTIONS * self._smallest
            np.bitwise_or.at(flags, at[~small], np.uint8(Flag.SPIKE))
            self._counts[Flag.SPIKE] -= int(np.count_nonzero(small))
            for place, value in zip(at[small].tolist(), values[small].tolist(), strict=True):
                for power, moment in moments:
                    total = moment[place] * good[place] if good[place] else 0.0
                    moment[place] = (total + value**power) / (good[place] + 1)
                good[place] += 1
        for rail in self._rails:
            held, count = rail.saturated(self._smallest)
            at = np.searchsorted(frames, held)
            left = good[at] - count
            for power, moment in moments:
                moment[at] = _mean(moment[at] * good[at] - rail.level**power * count, left)
            good[at] = left
            flags[at] |= Flag.SATURATED.value
            self._counts[Flag.SATURATED] += int(count.sum())
        counts = {flag: count for flag, count in self._counts.items() if count}
        return ColumnFrames(means, good, flags, counts, squares)


def _mean(sums: FloatArray, counts: IntArray) -> FloatArray:
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
