"""Several calibration records of one sensor: which of them holds on a day.

An as-left record opens an interval, the next record closes it: an as-found one
where the sensor was calibrated before any work on it, else the next as-left
one.  Between the two the sensor drifted, and nobody knows when; inside the
interval its curve is taken to have moved evenly in time.  From an as-found
record to the as-left one after it the sensor was worked on: that is no drift.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rigdata.campaign.certificate import ROLES
from rigdata.campaign.records import CalibrationRecord


@dataclass(frozen=True)
class InForce:
    """The records that a reading of one day rests on.

    Attributes
    ----------
    opening : CalibrationRecord
        The last record up to that day; the first of all where there is none.
    closing : CalibrationRecord or None
        The record that closes the interval; None where the drift since
        `opening` is not known.
    weight : float
        How far the day lies from `opening` to `closing`, from 0 to 1.
    """

    opening: CalibrationRecord
    closing: CalibrationRecord | None
    weight: float


def in_order(records: Sequence[CalibrationRecord]) -> tuple[CalibrationRecord, ...]:
    """Return records by date, on one day the as-found one before the as-left one."""
    return tuple(sorted(records, key=lambda record: (record.date, -ROLES.index(record.role))))


def intervals(
    records: Sequence[CalibrationRecord],
) -> tuple[tuple[CalibrationRecord, CalibrationRecord], ...]:
    """Return the pairs of records between which the sensor was left alone, in order."""
    return tuple(
        (earlier, later)
        for earlier, later in pairwise(in_order(records))
        if (earlier.role, later.role) != ("as-found", "as-left")
    )


def in_force(records: Sequence[CalibrationRecord], day: datetime.date) -> InForce:
    """Return the records that hold on a day.

    Parameters
    ----------
    records : sequence of CalibrationRecord
        The records of one sensor, at least one.
    day : datetime.date
        The day of the reading.

    Returns
    -------
    InForce
        On the day of a calibration itself the record made then counts, as left
        before as found.
    """
    ordered = in_order(records)
    opening = next((record for record in reversed(ordered) if record.date <= day), None)
    if opening is None:
        return InForce(ordered[0], None, 0.0)
    closing = next((later for first, later in intervals(records) if first is opening), None)
    if closing is None:
        return InForce(opening, None, 0.0)
    return InForce(opening, closing, (day - opening.date) / (closing.date - opening.date))
