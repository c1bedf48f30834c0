"""Readings of one run at one condition that do not agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.reduction.points import FrictionPoints

_LIKE_LN, _LIKE_K = 0.05, 5.0  # of slip speed and pressure, and of temperature
_FEWEST = 3


@dataclass(frozen=True)
class Swing:
    """How far mu goes to one side and comes back, while the bench holds one condition.

    Attributes
    ----------
    size : float
        The smaller of both ways, as a share of mu.
    times : float
        That over the standard uncertainty of the difference of two readings.
    readings : int
        How many readings there are.
    """

    size: float
    times: float
    readings: int


def swings(points: Sequence[FrictionPoints]) -> dict[str, Swing]:
    """Return the swing of each steady run with three readings or more at its usual condition.

    One way alone is a drift, which plates show that warm or wear.
    """
    steady = (part for part in points if len(part) and part.procedure[0] == "steady")
    found = {str(part.run[0]): _swing(part) for part in steady}
    return {run: swing for run, swing in found.items() if swing is not None}


def _swing(part: FrictionPoints) -> Swing | None:
    far = np.abs(part.temperature_c - np.median(part.temperature_c)) / _LIKE_K
    for values in (part.slip_speed_m_s, part.pressure_mpa):
        far = np.maximum(far, np.abs(np.log(values / np.median(values))) / _LIKE_LN)
    held = (far <= 1.0) & (part.kind == "kinetic") & (part.mu > 0.0)
    if np.count_nonzero(held) < _FEWEST:
        return None
    mu, u = part.mu[held][np.argsort(part.start_s[held])], part.u_random[held]
    size = 0.0
    for course in (mu, -mu):
        before = course - np.minimum.accumulate(course)
        after = course - np.minimum.accumulate(course[::-1])[::-1]
        size = max(size, float(np.minimum(before, after).max()))
    noise = math.sqrt(2.0 * float(np.mean(u**2)))
    times = size / noise if noise > 0.0 else 0.0
    return Swing(size / float(np.median(mu)), times, mu.size)
