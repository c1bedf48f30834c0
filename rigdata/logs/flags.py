"""What can be wrong with one sample, and how it is found.

Every function looks at a sample and its near neighbours only, so that a log
read in blocks gets the same flags whatever the size of a block, as long as the
blocks overlap as `settled` and `needed` say.
"""

from __future__ import annotations

import enum

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.logs.spikes import REACH


class Flag(enum.IntFlag):
    """What is wrong with a sample; a frame carries the union over its samples."""

    MISSING = 1
    SATURATED = 2
    SPIKE = 4
    STUCK = 8
    GAP = 16

    @property
    def words(self) -> str:
        """The flag, or each flag of a union, as a report says it."""
        return ", ".join(_WORDS[flag] for flag in Flag if flag in self)


_WORDS = {
    Flag.MISSING: "missing",
    Flag.SATURATED: "saturated",
    Flag.SPIKE: "spike",
    Flag.STUCK: "stuck",
    Flag.GAP: "after a gap",
}

# Common practice, no source, unless said otherwise.
STUCK_S = 1.0
STUCK_SAMPLES = 50
HELD_SAMPLES = 5
GAP_STEPS = 3.0
RESOLUTIONS = 4.0  # smallest steps of a channel that a jump must exceed
# Instruments write 9.9E37 for over range and 9.91E37 for not a number
# (from memory of SCPI 1999, volume 1, 7.2.1.4 and 7.2.1.5).
OVERRANGE = 9.9e37
NOT_A_NUMBER = 9.91e37

_LEAST = max(REACH, STUCK_SAMPLES + 3)  # samples that a flag may look away ...
_MARGIN_S = 1.01 * STUCK_S  # ... and seconds, whichever is more


def settled(time_s: FloatArray) -> int:
    """Return how many of the first samples have all later neighbours that their flags need."""
    n = time_s.size
    if n <= _LEAST:
        return 0
    last = time_s[n - 1 - REACH]  # up to which spikes are known
    return min(n - _LEAST, int(np.searchsorted(time_s, last - _MARGIN_S, side="left")))


def needed(time_s: FloatArray, index: int) -> int:
    """Return the first sample that the flags of sample `index` and of later ones need."""
    if index >= time_s.size:
        return max(0, time_s.size - _LEAST)
    early = int(np.searchsorted(time_s, time_s[index] - _MARGIN_S, side="right")) - 1
    return max(0, min(early, index - _LEAST))


def beyond_numbers(values: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return `values` with what is no number as NaN, and which of them were over range."""
    over = (np.abs(values) >= OVERRANGE) & (values != NOT_A_NUMBER)
    plain = np.where(np.abs(values) < OVERRANGE, values, np.nan)
    return plain, over


def outside(values: FloatArray, low: float | None, high: float | None) -> BoolArray | None:
    """Return which values lie outside the stated range, None when none does.

    A value on the limit itself is inside: a channel may idle there.
    """
    found = None
    if high is not None and bool((values > high).any()):
        found = values > high
    if low is not None and bool((values < low).any()):
        found = (values < low) if found is None else found | (values < low)
    return found


def gaps(time_s: FloatArray, step_s: float) -> BoolArray:
    """Return the samples that come after a gap.

    A gap is a step longer than 3 times the median step `step_s` and than 3 times
    the shorter of the two steps before and of the two steps after it: where the
    sampling rate itself changes there is no gap.
    """
    found = np.zeros(time_s.size, np.bool_)
    step = np.diff(time_s)
    at = np.flatnonzero(step > GAP_STEPS * step_s)
    if at.size == 0:
        return found
    padded = np.concatenate((np.full(2, np.inf), step, np.full(2, np.inf)))
    before = np.minimum(padded[at], padded[at + 1])
    after = np.minimum(padded[at + 3], padded[at + 4])
    usual = np.maximum(np.where(np.isinf(before), after, before), after)
    usual = np.where(np.isinf(usual), np.minimum(before, after), usual)
    is_gap = (step[at] > GAP_STEPS * usual) | np.isinf(usual)
    found[at[is_gap] + 1] = True
    return found


def stuck(time_s: FloatArray, steps: FloatArray) -> BoolArray | None:
    """Return the samples in runs exactly constant for 1 s and 50 samples, or None.

    Parameters
    ----------
    time_s : (n,) array
        Rising times. [s]
    steps : (n - 1,) array
        Differences of neighbouring values; NaN next to a missing one.
    """
    # Two of these steps in a row lie in any run that is long enough.
    some = steps[:: (STUCK_SAMPLES - 1) // 2] == 0.0
    if not (some[:-1] & some[1:]).any():
        return None
    first, last = _runs(np.flatnonzero(steps != 0.0), steps.size + 1)
    long = _long(time_s, first, last)
    return _marked(first[long], last[long], time_s.size) if long.any() else None


def held(
    time_s: FloatArray, values: FloatArray, steps: FloatArray, level: float
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the runs of at least 5 samples exactly at `level`, too short to be stuck.

    Returns
    -------
    first, last : (r,) int array
        First and last sample of each run.
    steep : (r,) array
        The smaller of the steps into and out of the run; 0 at an end of the data.
    """
    at = np.flatnonzero(values == level)
    breaks = np.flatnonzero(np.diff(at) != 1)
    if at.size < HELD_SAMPLES:
        return at[:0], at[:0], values[:0]
    first = at[np.concatenate(([0], breaks + 1))]
    last = at[np.concatenate((breaks, [at.size - 1]))]
    chosen = (last - first + 1 >= HELD_SAMPLES) & ~_long(time_s, first, last)
    first, last = first[chosen], last[chosen]
    padded = np.abs(np.concatenate(([0.0], steps, [0.0])))
    return first, last, np.nan_to_num(np.minimum(padded[first], padded[last + 1]))


def _runs(breaks: IntArray, count: int) -> tuple[IntArray, IntArray]:
    first = np.concatenate(([0], breaks + 1))
    last = np.concatenate((breaks, [count - 1]))
    return first, last


def _long(time_s: FloatArray, first: IntArray, last: IntArray) -> BoolArray:
    enough = last - first + 1 >= STUCK_SAMPLES
    return np.asarray(enough & (time_s[last] - time_s[first] >= STUCK_S))


def _marked(first: IntArray, last: IntArray, count: int) -> BoolArray:
    edges = np.zeros(count + 1, np.int64)
    edges[first] += 1
    edges[last + 1] -= 1
    return np.cumsum(edges[:-1]) > 0


def smallest_step(steps: FloatArray) -> float:
    """Return the smallest of the steps that are not 0, infinite when there is none."""
    if steps.size == 0:
        return np.inf
    sizes = np.abs(steps)
    if (smallest := float(sizes.min())) > 0.0:
        return smallest
    sizes[~(sizes > 0.0)] = np.inf  # NaN too
    return float(sizes.min())
