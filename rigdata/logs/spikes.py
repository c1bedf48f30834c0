"""Spikes: excursions of one or two samples far outside the noise about them."""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray, IntArray

# Common practice, no source.
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
    sample cannot be told from a step and is not flagged.
    """
    found: dict[int, float] = {}
    for width, starts in zip((1, 2), _excursions(steps), strict=True):
        if starts.size == 0:
            continue
        starts, heights = _heights(values, steps, starts, width)
        loud = heights > _noise(values, starts, width)
        for start, height in zip(starts[loud].tolist(), heights[loud].tolist(), strict=True):
            found |= dict.fromkeys(range(start, start + width), height)
    at = np.array(sorted(found), np.int64)
    return at, np.array([found[i] for i in at.tolist()])


def _excursions(steps: FloatArray) -> tuple[IntArray, IntArray]:
    """Return where excursions of one and of two samples may start, by the steps alone.

    The step in and the step out have opposite signs and a product beyond
    25 times the square of the largest step near them.
    """
    bounds = steps * steps
    bounds *= -(_STANDS_OUT**2)
    near = np.minimum(bounds[:-2], bounds[1:-1])
    np.minimum(near, bounds[2:], out=near)
    return _beyond(steps, near, 1), _beyond(steps, near, 2)


def _beyond(steps: FloatArray, near: FloatArray, width: int) -> IntArray:
    n = steps.size - 2 * _NEAR - width
    if n <= 0:
        return np.empty(0, np.int64)
    around = np.minimum(near[:n], near[_NEAR + width + 1 : _NEAR + width + 1 + n])
    product = steps[_NEAR : _NEAR + n] * steps[_NEAR + width : _NEAR + width + n]
    return np.flatnonzero(product < around) + _NEAR + 1


def _heights(
    values: FloatArray, steps: FloatArray, start: IntArray, width: int
) -> tuple[IntArray, FloatArray]:
    """Return the excursions that come back and stand out on both sides, and their heights."""
    before, after = values[start - 1], values[start + width]
    inside = np.stack([values[start + i] for i in range(width)])
    up = np.minimum(inside - before, inside - after).min(axis=0)
    down = np.minimum(before - inside, after - inside).min(axis=0)
    height = np.maximum(up, down)
    near = [steps[start - 2 - i] for i in range(_NEAR)]
    near += [steps[start + width + i] for i in range(_NEAR)]
    around = np.abs(np.stack(near)).max(axis=0)
    chosen = (np.abs(after - before) <= _RETURNS * height) & (height > _STANDS_OUT * around)
    return start[chosen], height[chosen]


def _noise(values: FloatArray, start: IntArray, width: int) -> FloatArray:
    """Return the height that noise about each excursion would hardly reach."""
    padded = np.concatenate((np.full(_WIDE, np.nan), values, np.full(_WIDE, np.nan)))
    side = start[:, None] + np.arange(_WIDE)
    second = [np.diff(padded[side + shift], 2, axis=1) for shift in (0, _WIDE + width)]
    sizes = np.sort(np.abs(np.concatenate(second, axis=1)), axis=1)  # NaN last
    known = np.count_nonzero(~np.isnan(sizes), axis=1)
    row, middle = np.arange(start.size), np.maximum(known - 1, 0)
    median = (sizes[row, middle // 2] + sizes[row, (middle + 1) // 2]) / 2.0
    return np.where(known > 0, 0.5 * _NOISES * median, np.inf)
