"""A low-pass filter without delay, over frames."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy import ndimage

from rigdata.arrays import FloatArray
from rigdata.calibration.signals import Signal
from rigdata.campaign.rig import Rig
from rigdata.reduction.stretches import median_step

_REACH = 4.0  # standard deviations of the weighting function
_HOLE = 1.5  # steps without a frame


def low_passed(signal: Signal, time_s: FloatArray, corner_hz: float) -> Signal:
    """Return a signal without what swings faster than the corner.

    Parameters
    ----------
    signal : Signal
        Of n frames, with those that are not good bridged.
    time_s : (n,) array
        Times of the frames; the parts before and after a hole are filtered apart. [s]
    corner_hz : float
        Where a swing is let through at ``1 / sqrt(2)``, which is -3 dB. [Hz]

    Returns
    -------
    Signal
        Its values and, the filter being linear, its sensitivities filtered alike.

    Notes
    -----
    The mean weighted with a Gaussian, ``exp(-t^2 / (2 s^2))`` with
    ``s = sqrt(ln 2) / (2 pi f_c)``, lets a swing of frequency `f` through at
    ``exp(-2 pi^2 s^2 f^2)``.  It has no delay, being symmetric, and no overshoot, having
    no negative weight.  With ``f_c = 1 / (sqrt(2) T)`` it is the filter of ISO 16610-21
    for a cut-off of `T` (its constant ``alpha = sqrt(ln 2 / pi)``, from memory).  Beyond
    the ends the signal is continued by its point reflection, which leaves a straight
    line straight.
    """
    rows = np.vstack([signal.values, signal.sensitivity])
    step = median_step(time_s)
    width = math.sqrt(math.log(2.0)) / (2.0 * math.pi * corner_hz) / step
    holes = np.flatnonzero(np.diff(time_s) > _HOLE * step) + 1
    parts = [_smooth(part, width) for part in np.split(rows, holes, axis=1)]
    values, *sensitivity = np.hstack(parts)
    shape = signal.sensitivity.shape
    return replace(signal, values=values, sensitivity=np.reshape(sensitivity, shape))


def corner_of(name: str, rig: Rig) -> float:
    """Return the corner that a channel asks for, or a piston's pressure; 0 for none. [Hz]"""
    made_of = "cylinder_pressure" if name == "clamp_load" else name
    channel = rig.channels.get(name) or rig.channels.get(made_of)
    return channel.low_pass_hz if channel is not None else 0.0


def _smooth(rows: FloatArray, width: float) -> FloatArray:
    """Return rows weighted along frames; `width` is the standard deviation in frames."""
    reach = math.ceil(_REACH * width)
    if rows.shape[1] < 2:
        return rows
    padded = np.pad(rows, ((0, 0), (reach, reach)), mode="reflect", reflect_type="odd")
    smooth = ndimage.gaussian_filter1d(padded, width, axis=1, radius=reach)
    kept: FloatArray = smooth[:, reach : smooth.shape[1] - reach]
    return kept
