"""The curve that a sensor had on a given day, between two calibrations."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray
from rigdata.calibration.polynomial import SensorCalibration, calibrate, covered
from rigdata.campaign.history import in_force
from rigdata.campaign.records import CalibrationRecord
from rigdata.errors import CalibrationError
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source


@dataclass(frozen=True, eq=False)
class DriftingCalibration:
    """A curve part of the way in time from one record to the next.

    Attributes
    ----------
    opening, closing : SensorCalibration
        The curves at both ends of the interval.
    weight : float
        How far the day lies from the first to the second, from 0 to 1.

    Notes
    -----
    A reading is ``(1 - w) y0 + w y1``.  That the drift was even in time is an
    assumption, so its whole size is a source of its own: rectangular,
    ``(y1 - y0) / sqrt(12)`` with its sign (JCGM 100:2008, 4.3.7), one error for
    all readings of the interval.

    The parts that come from the scatter of either record average as they do in
    the curve.  The two reference standards may be one and the same, so their
    parts are scaled up until together they are as large as if they were.
    """

    opening: SensorCalibration
    closing: SensorCalibration
    weight: float

    @property
    def record(self) -> str:
        """Ids of both records, in words."""
        return f"{self.opening.record} to {self.closing.record}"

    @property
    def low(self) -> float:
        """Lower end of the range that both records cover."""
        return max(self.opening.low, self.closing.low)

    @property
    def high(self) -> float:
        """Upper end of the range that both records cover."""
        return min(self.opening.high, self.closing.high)

    def applied(self, indicated: ArrayLike) -> FloatArray:
        """Return the applied quantity (n,) for indicated values (n,), both SI."""
        between: FloatArray = (1.0 - self.weight) * self.opening.applied(
            indicated
        ) + self.weight * self.closing.applied(indicated)
        return between

    def covers(self, applied: ArrayLike) -> BoolArray:
        """Return where (n,) applied values lie in the range of both records, or just outside."""
        return covered(applied, self.low, self.high)

    def sources(self, run: str) -> tuple[Source, ...]:
        """Return the causes of uncertainty of a reading made in `run`.

        Those of the first record, those of the second, and the drift between;
        the residual is one, that of the first record.
        """
        *first, residual = self.opening.sources(run)
        *second, _ = self.closing.sources(run)
        drift = Source(
            f"{self.opening.kind}:{self.opening.record}:drift",
            Scope.RIG,
            Effect.PROPORTIONAL,
            f"{self.opening.kind.replace('-', ' ')}: drift of the sensor ({self.record})",
            Distribution.RECTANGULAR,
        )
        return (*first, *second, drift, residual)

    def sensitivities(self, indicated: ArrayLike) -> FloatArray:
        """Return the change (k, n) of the applied quantity for one sd of each source."""
        rows = []
        for curve, share in ((self.opening, 1.0 - self.weight), (self.closing, self.weight)):
            rows.append(share * curve.sensitivities(indicated))
        (first, reference_0), (second, reference_1) = ((r[:-2], r[-2]) for r in rows)
        together = np.hypot(reference_0, reference_1)
        some = together > 0.0
        scale = np.where(
            some,
            (np.abs(reference_0) + np.abs(reference_1)) / np.where(some, together, 1.0),
            1.0,
        )
        drift = (self.closing.applied(indicated) - self.opening.applied(indicated)) / math.sqrt(12)
        larger = max(self.opening.u_reading, self.closing.u_reading)
        rest = np.where(np.isfinite(drift), larger, np.nan)
        stacked: FloatArray = np.vstack(
            [first, scale * reference_0, second, scale * reference_1, drift, rest]
        )
        return stacked


Curve = SensorCalibration | DriftingCalibration


def curve_on(
    records: Sequence[CalibrationRecord], day: datetime.date | None, *, kind: str, run: str
) -> Curve:
    """Return the curve of a sensor on the day of a run.

    Parameters
    ----------
    records : sequence of CalibrationRecord
        All records of the sensor, at least one.
    day : datetime.date or None
        Day of the run; may be None where there is one record only.
    kind : str
        First word of the source ids.
    run : str
        The run, for messages.

    Raises
    ------
    CalibrationError
        When a record cannot be fitted, or there are several and no day.

    Notes
    -----
    With one record, or none after the run, the drift since is not known, and
    nothing is made up for it.
    """
    if len(records) == 1:
        return calibrate(records[0], kind=kind)
    if day is None:
        raise CalibrationError(
            f"the run has no date, and {kind.replace('-', ' ')} has {len(records)} calibration "
            "records",
            where=f"run {run}",
            expected="date, to choose by",
            do="Write date in the run or in the campaign.",
        )
    force = in_force(records, day)
    opening = calibrate(force.opening, kind=kind)
    if force.closing is None:
        return opening
    return DriftingCalibration(opening, calibrate(force.closing, kind=kind), force.weight)
