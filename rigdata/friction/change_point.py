"""Where a course stops changing: a slope that meets a level, and how well the corner is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray

LEAST_POINTS = 6
_LEVEL = 0.95
_GRID = 400
_LEAST_EACH = 2  # points on either side of the corner


@dataclass(frozen=True)
class ChangePoint:
    """A course that changes up to a corner and is level from there.

    Attributes
    ----------
    at, low, high : float
        The corner and its 95 % interval; `high` is the end of the course where no
        level part is resolved.
    level, u_level : float
        The level after the corner and its standard uncertainty.
    rise : float
        Change from the start to the level.
    p : float
        Probability of such a fit where nothing changes.
    level_seen : bool
        Whether the interval of the corner ends before the course does.
    """

    at: float
    low: float
    high: float
    level: float
    u_level: float
    rise: float
    p: float
    level_seen: bool


def change_point(x: FloatArray, y: FloatArray) -> ChangePoint | None:
    """Fit ``y = m + g max(c - x, 0)``; None with fewer than six points.

    Parameters
    ----------
    x : (n,) array
        Rising positions, such as cycles or sliding work.
    y : (n,) array
        Values with independent errors of one unknown size.

    Notes
    -----
    For each corner c the model is linear.  The interval holds every c whose sum of
    squares passes the F test against the least, and p is that of the F test of the
    whole against a constant; both are approximate, as a corner is not a smooth
    parameter (D. V. Hinkley, Biometrika 56 (1969) 495).
    """
    order = np.argsort(x, kind="stable")
    x, y, n = x[order], y[order], x.size
    if n < LEAST_POINTS:
        return None
    corners = np.linspace(x[_LEAST_EACH - 1], x[-_LEAST_EACH], _GRID)
    ramps = np.maximum(corners[:, None] - x, 0.0)
    mean_ramp = ramps.mean(axis=1, keepdims=True)
    centred = ramps - mean_ramp
    spread = np.sum(centred**2, axis=1)
    slope = centred @ (y - y.mean()) / spread
    constant = float(np.sum((y - y.mean()) ** 2))
    squares = np.maximum(constant - slope**2 * spread, 0.0)
    best = int(np.argmin(squares))
    dof = n - 3
    variance = max(float(squares[best]) / dof, np.finfo(float).tiny)
    inside = corners[squares <= squares[best] + variance * stats.f.ppf(_LEVEL, 1, dof)]
    g = float(slope[best])
    level = float(y.mean() - g * mean_ramp[best, 0])
    u_level = np.sqrt(variance * (1.0 / n + mean_ramp[best, 0] ** 2 / spread[best]))
    f = (constant - float(squares[best])) / 2.0 / variance
    high = float(inside.max())
    seen = high < corners[-1]
    return ChangePoint(
        at=float(corners[best]),
        low=float(inside.min()),
        high=high if seen else float(x[-1]),
        level=level,
        u_level=float(u_level),
        rise=-g * float(ramps[best, 0]),
        p=float(stats.f.sf(f, 2, dof)),
        level_seen=seen,
    )
