"""The slip speed that a run is cut by, and where its plates stick.

A pack that sticks and slips swings between standstill and twice the speed of
its drive.  Windows cut by the speed at each moment would then sort the frames
of one cycle into different windows, and lose those at standstill; cut by the
mean over some cycles, they hold whole cycles at the speed of the drive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen
from rigdata.reduction.stretches import runs_of, smoothed

# Common practice, no source.
MEAN_S = 1.0  # over which swinging speed is averaged
LEAST_STICK = 0.05  # share of a window at standstill, above which it is not kinetic friction
_LEAST_SWING = 0.15  # rms of the swing, as a share of the mean
_LEAST_TURNS = 3  # within `MEAN_S`; a step turns once, an engagement twice
_HYSTERESIS = 0.3  # of the rms, beyond which the speed is on one side of its mean


@dataclass(frozen=True, eq=False)
class Slip:
    """How the plates slip.

    Attributes
    ----------
    speed : (n,) float
        Size of the slip speed, averaged over `MEAN_S` where it swings. [rad/s]
    swings : (n,) bool
        Where it swings, more than once and wider than the noise at standstill.
    stuck : (n,) bool
        Where the plates stand still amid such swings.
    """

    speed: FloatArray
    swings: BoolArray
    stuck: BoolArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "speed", frozen(self.speed))
        object.__setattr__(self, "swings", frozen(self.swings, np.bool_))
        object.__setattr__(self, "stuck", frozen(self.stuck, np.bool_))


def find_slip(step_s: float, speed: FloatArray, pressed: BoolArray, rest: float) -> Slip:
    """Find where the slip speed of a pressed pack swings, and where it sticks.

    Parameters
    ----------
    step_s : float
        Time between frames. [s]
    speed : (n,) array
        Slip speed. [rad/s]
    pressed : (n,) bool array
        Where the pack is under load.
    rest : float
        What the noise of the pickup reaches at standstill. [rad/s]

    Notes
    -----
    The speed swings where it differs from its mean over one second by more than
    15 % (rms) and by more than `rest`, and goes over to the other side three times in
    that second.  What stands still before the first slip of such swings or after the
    last winds up or has stopped; it is no stick.
    A ramp is its own mean, a step crosses it once.
    """
    size = np.abs(speed)
    mean, swings = size.copy(), np.zeros(size.size, np.bool_)
    width = 2 * round(MEAN_S / step_s / 2) + 1
    for stretch in runs_of(pressed):
        if len(stretch) >= width > _LEAST_TURNS:
            own = size[stretch.frames]
            level = smoothed(own, width)
            swing = own - level
            rms = np.sqrt(np.maximum(smoothed(swing**2, width), 0.0))
            found = rms > np.maximum(_LEAST_SWING * level, rest)
            if found.any():
                clear = np.maximum(_HYSTERESIS * rms, rest)
                found &= _turns(swing, clear, width) >= _LEAST_TURNS
                found &= _between_slips(found, own > rest)
                swings[stretch.frames] = found
                mean[stretch.frames] = np.where(found, level, own)
    return Slip(mean, swings, swings & (size <= rest))


def _between_slips(swings: BoolArray, moves: BoolArray) -> BoolArray:
    """(n,) where the plates have slipped and will slip again within the same swings."""
    inside = np.zeros(swings.size, np.bool_)
    for stretch in runs_of(swings):
        slips = np.flatnonzero(moves[stretch.frames])
        if slips.size:
            inside[stretch.start + slips[0] : stretch.start + slips[-1] + 1] = True
    return inside


def stick_reason(share: float) -> str:
    """Return why a point with this share of its time at standstill is not used, or nothing."""
    if not share >= LEAST_STICK:
        return ""
    return f"sticks and slips: at standstill for {100 * share:.0f} % of the time"


def _turns(swing: FloatArray, clear: FloatArray, width: int) -> IntArray:
    """(n,) how often the swing goes from one side to the other in the window about each frame.

    A side counts where the swing is beyond `clear`.
    """
    side = np.where(np.abs(swing) > clear, np.sign(swing), 0.0)
    at = np.arange(side.size)
    held = side[np.maximum.accumulate(np.where(side != 0.0, at, 0))]
    total = np.concatenate(([0, 0], np.cumsum(np.abs(np.diff(held)) > 1.5)))
    low, high = np.maximum(at - width // 2, 0), np.minimum(at + width // 2 + 1, side.size)
    turns: IntArray = total[high] - total[low]
    return turns
