"""Spikes: excursions of one or two samples far outside the noise about them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rigdata.arrays import FloatArray, IntArray

# Common practice, no source.
_WIDTHS = (1, 2)  # samples
_NEAR = 3  # steps on either side that an excursion must stand out from ...
_STANDS_OUT = 5.0  # ... by this factor
_RETURNS = 0.3  # a spike comes back to within this share of its height
_WIDE = 32  # samples on either side from which the noise is taken
_NOISES = 10.0  # median second differences that an excursion must reach twice over

REACH = _WIDE + _NEAR + 3  # samples on either side that decide on a spike


def spikes(values: FloatArray, steps: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the samples of excursions far outside the local noise, and their heights.

    Parameters
    ----------
    values : (n,) array
        Samples, NaN where missing.
    steps : (n - 1,) array
        Their differences.

    Returns
    -------
    at : (s,) int array
        Samples in such excursions, rising.
    heights : (s,) array
        How far each excursion stands out.

    Notes
    -----
    An excursion of one or two samples is a spike when

    1. it leaves and comes back: the two sides agree within 0.3 of its height,
       so that a step, a breakaway drop or a slip is none;
    2. its height is 5 times the largest of the three steps before and the three
       steps after it, so that a peak of an oscillation is none;
    3. twice its height, which is its second difference, exceeds 10 times the
       median absolute second difference of the 32 samples on either side (over 8
       standard deviations of white noise);
    4. its height exceeds `RESOLUTIONS` times the smallest step of the channel, so
       that a flicker of the last digit or a lone pulse of a slow encoder is none.
       That step is only known at the end of the log: the caller checks it.

    An excursion within three samples of the ends of the log or of a missing
    sample cannot be told from a step and is not flagged; `bridged` does away with
    samples missing one or two at a time.
    """
    start, width = _excursions(steps)
    if start.size:
        start, width, heights = _standing_out(values, steps, start, width)
    if start.size == 0:
        return start, np.empty(0)
    loud = heights > _noise(values, start, width)
    rows = zip(start[loud].tolist(), width[loud].tolist(), heights[loud].tolist(), strict=True)
    found = {at + i: height for at, samples, height in rows for i in range(samples)}
    at = np.array(sorted(found), np.int64)
    return at, np.array([found[i] for i in at.tolist()])


def bridged(values: FloatArray) -> FloatArray:
    """Return the samples with the last one repeated where one or two are missing after it.

    A spike between two lost samples is then an excursion of two samples; one before two
    of them would be one of three, and passes.
    """
    filled: FloatArray = np.asarray(pd.Series(values).ffill(limit=max(_WIDTHS)), np.float64)
    return filled


class SpikesOnce:
    """Spikes of a channel that comes in stretches which overlap: each place is looked at once."""

    def __init__(self) -> None:
        self._looked = 0  # samples from the start of the log that are done with
        self._at, self._heights = np.empty(0, np.int64), np.empty(0)

    def within(
        self, start: int, values: FloatArray, steps: FloatArray, *, last: bool
    ) -> tuple[IntArray, FloatArray]:
        """Return the spikes of the next stretch, as `spikes` does.

        Parameters
        ----------
        start : int
            Number in the log of its first sample.
        values, steps : array
            As in `spikes`.
        last : bool
            Whether the log ends with it; else the last `REACH` samples wait.
        """
        again = max(0, self._looked - REACH - start)
        at, heights = spikes(values[again:], steps[again:])
        at += start + again
        stop = start + values.size - (0 if last else REACH)
        fresh, held = (at >= self._looked) & (at < stop), self._at >= start
        self._looked = max(self._looked, stop)
        self._at = np.concatenate((self._at[held], at[fresh]))
        self._heights = np.concatenate((self._heights[held], heights[fresh]))
        return self._at - start, self._heights


def _excursions(steps: FloatArray) -> tuple[IntArray, IntArray]:
    """Return where excursions may start, and of how many samples, by the steps alone.

    The step in and the step out have opposite signs and a product beyond
    25 times the square of the largest step near them.
    """
    bounds = steps * steps
    bounds *= -(_STANDS_OUT**2)
    near = np.minimum(bounds[:-2], bounds[1:-1])
    np.minimum(near, bounds[2:], out=near)
    starts = []
    for width in _WIDTHS:
        n = max(0, steps.size - 2 * _NEAR - width)
        around = np.minimum(near[:n], near[_NEAR + width + 1 : _NEAR + width + 1 + n])
        product = steps[_NEAR : _NEAR + n] * steps[_NEAR + width : _NEAR + width + n]
        starts.append(np.flatnonzero(product < around) + _NEAR + 1)
    return np.concatenate(starts), np.repeat(_WIDTHS, [start.size for start in starts])


def _standing_out(
    values: FloatArray, steps: FloatArray, start: IntArray, width: IntArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the excursions that come back and stand out on both sides, and their heights."""
    before, after = values[start - 1], values[start + width]
    one, other = values[start], values[start + width - 1]
    up = np.minimum(one, other) - np.maximum(before, after)
    down = np.minimum(before, after) - np.maximum(one, other)
    height = np.maximum(up, down)
    ahead = start[:, None] - 2 - np.arange(_NEAR)
    behind = (start + width)[:, None] + np.arange(_NEAR)
    around = np.abs(steps[np.concatenate((ahead, behind), axis=1)]).max(axis=1)
    chosen = (np.abs(after - before) <= _RETURNS * height) & (height > _STANDS_OUT * around)
    return start[chosen], width[chosen], height[chosen]


def _noise(values: FloatArray, start: IntArray, width: IntArray) -> FloatArray:
    """Return the height that noise about each excursion would hardly reach."""
    side = np.arange(_WIDE)
    places = np.stack((start[:, None] - _WIDE + side, (start + width)[:, None] + side), axis=1)
    near = values.take(places, mode="clip")
    near[(places < 0) | (places >= values.size)] = np.nan
    sizes = np.sort(np.abs(np.diff(near, 2)).reshape(start.size, -1))  # NaN last
    known = np.count_nonzero(~np.isnan(sizes), axis=1)
    row, last = np.arange(start.size), np.maximum(known - 1, 0)
    median = (sizes[row, last // 2] + sizes[row, (last + 1) // 2]) / 2.0
    return np.where(known > 0, 0.5 * _NOISES * median, np.inf)
