"""Undo what a sensor does to time: a delay, and the slowness of a thermometer."""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from rigdata.arrays import BoolArray, FloatArray

_FEWEST_FRAMES = 5
_SHARE_OF_TAU = 0.5
_CHUNK = 2_000_000  # numbers handled at a time


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
    count = time_s.size
    if count < 3:
        return np.full(rows.shape, np.nan)
    step = float(np.median(np.diff(time_s)))
    half = max(_FEWEST_FRAMES, math.ceil(_SHARE_OF_TAU * time_constant_s / step)) // 2
    width = 2 * min(half, count) + 1
    margin = width // 2
    known = good & np.all(np.isfinite(rows), axis=0)
    weight = np.pad(known.astype(np.float64), margin)
    padded = np.pad(np.where(known, rows, 0.0), ((0, 0), (margin, margin)))
    clock = np.pad(time_s, margin, mode="edge")
    rate = np.full(rows.shape, np.nan)
    chunk = max(1, _CHUNK // width)
    for start in range(0, count, chunk):
        stop = min(start + chunk, count)
        part = slice(start, stop + 2 * margin)
        w = sliding_window_view(weight[part], width)
        t = sliding_window_view(clock[part], width) - time_s[start:stop, None]
        seen = w.sum(axis=-1)
        arm = w * (t - (w * t).sum(axis=-1, keepdims=True) / np.maximum(seen, 1.0)[:, None])
        spread = np.sum(arm * t, axis=-1)
        enough = (seen >= 3.0) & (spread > 0.0)
        moment = np.einsum("fw,rfw->rf", arm, sliding_window_view(padded[:, part], width, axis=-1))
        rate[:, start:stop] = np.where(enough, moment / np.where(enough, spread, 1.0), np.nan)
    return time_constant_s * rate
