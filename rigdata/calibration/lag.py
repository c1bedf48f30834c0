"""Undo what a sensor does to time: a delay, and the slowness of a thermometer."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import BoolArray, FloatArray

_FEWEST_FRAMES = 5
_SHARE_OF_TAU = 0.5
_BLOCK_FRAMES = 512


def undo_delay(
    time_s: FloatArray, values: FloatArray, good: BoolArray, lag_s: float
) -> tuple[FloatArray, BoolArray]:
    """Return a channel as it would read without its delay, on the same frames.

    Parameters
    ----------
    time_s, values : (n,) array
        Frames and what the channel shows there.
    good : (n,) bool array
        Frames whose reading may be used.
    lag_s : float
        How much later than the truth the channel shows; negative is early. [s]

    Returns
    -------
    values : (n,) array
        ``values(time + lag)``, interpolated; NaN past the ends of the log.
    good : (n,) bool array
        Frames for which both neighbours were good.
    """
    if lag_s == 0.0:
        return values, good
    shown_at = time_s + lag_s
    moved = np.interp(shown_at, time_s, values, left=np.nan, right=np.nan)
    share = np.interp(shown_at, time_s, good.astype(np.float64), left=0.0, right=0.0)
    return moved, (share > 1.0 - 1e-9) & np.isfinite(moved)


def undo_time_constant(
    time_s: FloatArray, rows: FloatArray, good: BoolArray, time_constant_s: float
) -> FloatArray:
    """Return what a first-order sensor must have seen, less what it shows.

    Parameters
    ----------
    time_s : (n,) array
        Frames, rising.
    rows : (r, n) array
        One or more quantities that pass through the sensor alike.
    good : (n,) bool array
        Frames to learn from.
    time_constant_s : float
        Time in which the sensor covers 63 % of a step, above 0. [s]

    Returns
    -------
    (r, n) array
        ``tau d(row)/dt``, to be added to the rows; NaN where fewer than three
        frames about it are good.

    Notes
    -----
    A first-order sensor obeys ``tau dT/dt + T = T_true``.  The derivative is
    the slope of a straight line fitted to the frames within a quarter of `tau`
    on either side, and to five frames at least, because a difference of
    neighbours would multiply their noise by ``tau / step``.
    """
    if time_s.size < 3:
        return np.full(rows.shape, np.nan)
    step = float(np.median(np.diff(time_s)))
    half = max(_FEWEST_FRAMES, math.ceil(_SHARE_OF_TAU * time_constant_s / step)) // 2
    known = good & np.all(np.isfinite(rows), axis=0)
    return time_constant_s * _local_slopes(time_s, rows, known, half)


def _local_slopes(time_s: FloatArray, rows: FloatArray, known: BoolArray, half: int) -> FloatArray:
    """Fit a straight line to the known frames among `half` on either side of each.

    Running sums give every window at once.  They start anew, about their own
    middle, in blocks of a few windows: over a whole log they would lose the
    digits that a short window needs.
    """
    count = time_s.size
    slopes = np.full(rows.shape, np.nan)
    block = max(_BLOCK_FRAMES, 8 * half)
    for start in range(0, count, block):
        stop = min(start + block, count)
        first, last = max(start - half, 0), min(stop + half, count)
        w = known[first:last].astype(np.float64)
        t = time_s[first:last] - time_s[(start + stop) // 2]
        y = np.where(known[first:last], rows[:, first:last], 0.0)
        y = y - w * (y.sum(axis=-1) / max(w.sum(), 1.0))[:, None]
        index = np.arange(start, stop)
        low = np.maximum(index - half, 0) - first
        high = np.minimum(index + half + 1, count) - first
        sums = np.zeros((3 + 2 * len(rows), last - first + 1))
        np.cumsum(np.vstack([w, w * t, w * t * t, y, y * t]), axis=-1, out=sums[:, 1:])
        n, st, stt, *rest = sums[:, high] - sums[:, low]
        sy, sty = np.split(np.array(rest), 2)
        enough = n > 2.5
        n = np.where(enough, n, 1.0)
        spread = np.where(enough, stt - st * st / n, 1.0)
        slopes[:, start:stop] = np.where(enough, (sty - st * sy / n) / spread, np.nan)
    return slopes
