"""The series of a calibration record laid side by side, load by load.

What a sensor shows above its own zero reading of the same series is its
deflection.  Deflections at equal loads are compared between series
(repeatability, reproducibility) and between rising and falling load
(reversibility).  Everything is in the units of the record's file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen


@dataclass(frozen=True, eq=False)
class SeriesTable:
    """Deflections of `s` series at `m` loads other than zero.

    Attributes
    ----------
    loads : (m,) float
        Loads, rising. [applied unit]
    up, down : (s, m) float
        Deflection when the load was reached from below and from above; NaN
        where a series has no such reading. [indicated unit]
    zero_before, zero_after : (s,) float
        First and last reading without load in each series; NaN without one, and
        the last one also where there is but one. [indicated unit]
    mounting : (s,) int
        Number of the mounting each series belongs to.
    mountings_told : bool
        Whether the record says so; else all are taken as one mounting.
    slope : float
        Applied over indicated, of the straight line through all points.
        [applied unit / indicated unit]
    """

    loads: FloatArray
    up: FloatArray
    down: FloatArray
    zero_before: FloatArray
    zero_after: FloatArray
    mounting: IntArray
    mountings_told: bool
    slope: float

    def __post_init__(self) -> None:
        for name in ("loads", "up", "down", "zero_before", "zero_after"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "mounting", frozen(self.mounting, np.int64))

    @property
    def first_of_mounting(self) -> BoolArray:
        """(s,) which series is the first of its mounting."""
        _, first = np.unique(self.mounting, return_index=True)
        flags = np.zeros(self.mounting.size, np.bool_)
        flags[first] = True
        return flags

    @property
    def mean_up(self) -> FloatArray:
        """(m,) mean deflection under rising load.

        Over the first series of each mounting (the X1, X3 and X5 of ISO 376),
        over all series where the mountings are not told.
        """
        rows = self.up[self.first_of_mounting] if self.mountings_told else self.up
        return mean(rows)

    @property
    def repeatability_percent(self) -> FloatArray:
        """(m,) spread between series of one mounting under rising load.

        ``b' = 100 (max - min) / mean``, the largest over the mountings; for two
        series that is ``100 |X2 - X1| / mean(X1, X2)``. [% of deflection]
        """
        rows = [self.up[self.mounting == number] for number in np.unique(self.mounting)]
        return largest(np.stack([_ratio(width(own), mean(own)) for own in rows]))

    @property
    def reproducibility_percent(self) -> FloatArray:
        """(m,) spread between mountings under rising load.

        ``b = 100 (max - min) / Xr`` over the first series of each mounting; NaN
        where the record does not tell the mountings. [% of deflection]
        """
        if not self.mountings_told:
            return np.full(self.loads.shape, np.nan)
        return _ratio(width(self.up[self.first_of_mounting]), self.mean_up)

    @property
    def reversibility_percent(self) -> FloatArray:
        """(m,) difference between falling and rising load, hysteresis.

        ``v = 100 |down - up| / up``, the mean over the series that have both.
        [% of deflection]
        """
        return mean(_ratio(np.abs(self.down - self.up), self.up))

    @property
    def zero_error_percent(self) -> float:
        """Reading left without load after a series, largest in size, with its sign.

        ``f0 = 100 (last zero - first zero) / XN``, XN the mean deflection at
        the largest load. [% of XN]
        """
        left = self.zero_after - self.zero_before
        if not np.isfinite(left).any():
            return math.nan
        worst = left[np.nanargmax(np.abs(left))]
        return float(100.0 * worst / self.full_deflection)

    @property
    def full_deflection(self) -> float:
        """Mean deflection at the load of the largest size. [indicated unit]"""
        return float(self.mean_up[np.argmax(np.abs(self.loads))])

    @property
    def hysteresis(self) -> float:
        """Largest difference between falling and rising load. [applied unit]

        The mean over the series at one load, no load included; 0 where none is
        measured.
        """
        return self._applied(np.abs(mean(self._turns)))

    @property
    def repeatability(self) -> float:
        """Largest spread between series at one load and direction. [applied unit]

        All series, whatever their mounting; 0 where none can be compared.
        """
        return self._applied(width(np.hstack([self.up, self.down])))

    @property
    def scatter(self) -> tuple[float, int]:
        """Standard deviation of one reading about the mean of all series [applied unit].

        And its degrees of freedom.  A shift of a whole series is taken out, as
        the zero of a run takes it out; 0 with no degrees of freedom where there
        is one series only.
        """
        cells = np.hstack([self.up, self.down])
        shared = np.isfinite(cells).sum(axis=0) > 1
        off = cells[:, shared] - mean(cells[:, shared])
        off = off - mean(off.T)[:, None]
        rows = int(np.isfinite(off).any(axis=1).sum())
        dof = int(np.isfinite(off).sum()) - int(shared.sum()) - (rows - 1)
        if dof < 1:
            return 0.0, 0
        return abs(self.slope) * math.sqrt(float(np.nansum(off**2)) / dof), dof

    @property
    def hysteresis_shown(self) -> bool:
        """Whether the hysteresis is more than scatter.

        With several series, where the mean difference at one load is significant
        at 5 % against `scatter`, shared out over the loads (Bonferroni); with
        one series it cannot be told and counts as shown.
        """
        s, dof = self.scatter
        if dof == 0:
            return self.hysteresis > 0.0
        pairs = np.isfinite(self._turns).sum(axis=0)
        if not pairs.any():
            return False
        critical = float(stats.t.isf(0.025 / np.count_nonzero(pairs), dof))
        sizes = abs(self.slope) * np.abs(mean(self._turns)) * np.sqrt(pairs / 2.0)
        return bool(np.any(sizes > critical * s))

    @property
    def u_reading(self) -> float:
        """Standard uncertainty of one reading from hysteresis and repeatability.

        ``sqrt(h^2 / 12 + s_r^2)`` with the largest hysteresis h, since a later
        reading lies somewhere between rising and falling branch, each place as
        likely as another (JCGM 100:2008, 4.3.7), and the scatter s_r of one
        reading about its branch.  0 where no hysteresis is shown: then the
        scatter is what the residuals of the curve already measure. [applied
        unit]
        """
        if not self.hysteresis_shown:
            return 0.0
        return math.hypot(self.hysteresis / math.sqrt(12.0), self.scatter[0])

    @property
    def _turns(self) -> FloatArray:
        """(s, m + 1) falling less rising load in each series, and the zero left at last."""
        left = (self.zero_after - self.zero_before)[:, None]
        return np.hstack([self.down - self.up, left])

    def _applied(self, deflections: FloatArray) -> float:
        return abs(self.slope) * float(np.max(deflections, where=deflections > 0.0, initial=0.0))


def mean(rows: FloatArray) -> FloatArray:
    """Return the mean of each column over its numbers, NaN where it has none."""
    seen = np.isfinite(rows)
    count = seen.sum(axis=0)
    total = np.where(seen, rows, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def width(rows: FloatArray) -> FloatArray:
    """Return the range of each column, NaN where it has fewer than two numbers."""
    seen = np.isfinite(rows)
    top = np.max(rows, axis=0, where=seen, initial=-np.inf)
    bottom = np.min(rows, axis=0, where=seen, initial=np.inf)
    return np.where(seen.sum(axis=0) > 1, top - bottom, np.nan)


def largest(rows: FloatArray) -> FloatArray:
    """Return the largest number of each column, NaN where it has none."""
    seen = np.isfinite(rows)
    return np.where(seen.any(axis=0), np.max(rows, axis=0, where=seen, initial=-np.inf), np.nan)


def _ratio(part: FloatArray, whole: FloatArray) -> FloatArray:
    """Return the size of a part in percent, NaN where there is no whole."""
    size = np.abs(whole)
    some = np.isfinite(size) & (size > 0.0)
    return np.where(some, 100.0 * part / np.where(some, size, 1.0), np.nan)
