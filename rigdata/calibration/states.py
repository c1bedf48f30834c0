"""How each calibrated sensor of a rig stands on a given day."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.calibration.assessment import Assessment, assess
from rigdata.calibration.classes import ClassLimits, read_limits
from rigdata.calibration.polynomial import calibrate
from rigdata.campaign.history import in_force, intervals
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Rig
from rigdata.errors import Notice, Severity
from rigdata.quantities import to_base, unit_named


@dataclass(frozen=True)
class Drift:
    """What a sensor drifted between two records.

    Attributes
    ----------
    opening, closing : str
        Ids of the records.
    days : int
        Days between them.
    percent : float
        Change of the reading over the range of the first record. [%]
    """

    opening: str
    closing: str
    days: int
    percent: float

    @property
    def words(self) -> str:
        """The drift in words, as ``+0.12 % in 365 days (TC-1 to TC-2)``."""
        return f"{self.percent:+.2g} % in {self.days} days ({self.opening} to {self.closing})"


@dataclass(frozen=True, eq=False)
class SensorState:
    """One calibrated sensor on one day.

    Attributes
    ----------
    channel : str
        Channel of the rig.
    record : CalibrationRecord
        The record that a reading of that day rests on.
    sources : tuple of str
        How the ids of this sensor's sources of uncertainty begin, over all its
        records.
    days_left : int
        Days until the record runs out; negative when it has. [d]
    assessment : Assessment
        What the record says about the sensor: class, residuals, lower limit
        factor, degree.
    drift : Drift or None
        Drift over the interval that the day lies in; None where no later record
        closes it, so that the drift is not known.
    last_drift : Drift or None
        Drift over the last closed interval up to that day, as a hint; None
        where there is none.
    """

    channel: str
    record: CalibrationRecord
    sources: tuple[str, ...]
    days_left: int
    assessment: Assessment
    drift: Drift | None
    last_drift: Drift | None

    @property
    def drift_words(self) -> str:
        """The drift of the day in words; ``not known`` where it is not."""
        if self.drift is not None:
            return self.drift.words
        if self.last_drift is not None:
            return f"not known; last {self.last_drift.words}"
        return "not known"

    @property
    def class_words(self) -> str:
        """The class in one word, with a star where not all of it is shown; else a dash."""
        verdict = self.assessment.verdict
        if verdict is None or not verdict.determined:
            return "-"
        return (verdict.name or "none") + ("*" if verdict.not_shown else "")


def sensor_states(
    rig: Rig, on_date: datetime.date, *, limits: ClassLimits | None = None
) -> tuple[SensorState, ...]:
    """Return the state of every sensor of a rig that has a calibration record.

    Parameters
    ----------
    rig : Rig
        The rig.
    on_date : datetime.date
        The day that counts: it chooses among several records.
    limits : ClassLimits, optional
        Limits of the classes; those of the package unless given.

    Returns
    -------
    tuple of SensorState
        In the order of the channels of the rig.

    Raises
    ------
    CalibrationError
        When a record cannot be fitted.
    """
    table = limits or read_limits()
    return tuple(
        _state(channel, records, on_date, table) for channel, records in rig.histories.items()
    )


def state_notices(states: Sequence[SensorState], on_date: datetime.date) -> tuple[Notice, ...]:
    """Return what must be said about the states: records out of date or not yet made, advice."""
    found = []
    for state in states:
        record = state.record
        where = f"{state.channel}, record {record.id}"
        if state.days_left < 0:
            what = f"was valid until {record.valid_until}, which is before {on_date}"
            found.append(Notice(Severity.WARNING, where, what, "Have the sensor calibrated"))
        if record.date > on_date:
            what = f"is of {record.date}, which is after {on_date}"
            found.append(Notice(Severity.WARNING, where, what, "Look for an earlier record"))
        if state.assessment.degree.words:
            found.append(Notice(Severity.NOTE, where, state.assessment.degree.words))
        found += record.notices
    return tuple(found)


def _state(
    channel: str,
    records: tuple[CalibrationRecord, ...],
    on_date: datetime.date,
    limits: ClassLimits,
) -> SensorState:
    force = in_force(records, on_date)
    pairs = [pair for pair in intervals(records) if pair[1].date <= on_date]
    kind = channel.replace("_", "-")
    return SensorState(
        channel=channel,
        record=force.opening,
        sources=tuple(f"{kind}:{record.id}:" for record in records),
        days_left=(force.opening.valid_until - on_date).days,
        assessment=assess(force.opening, limits),
        drift=drift_between(force.opening, force.closing) if force.closing else None,
        last_drift=drift_between(*pairs[-1]) if pairs else None,
    )


def drift_between(opening: CalibrationRecord, closing: CalibrationRecord) -> Drift:
    """Return what a sensor drifted from one record to the next.

    Notes
    -----
    ``100 (S1 / S0 - 1)`` with S the applied quantity that each curve gives for
    the step from the lowest to the highest indicated value of the first record:
    a shift of the zero, which every run takes out for itself, does not count.
    """
    unit = unit_named(opening.indicated_unit, None, where=str(opening.path))
    ends = np.array([opening.indicated.min(), opening.indicated.max()])
    steps = [
        float(np.diff(calibrate(r).applied(to_base(ends, unit)))[0]) for r in (opening, closing)
    ]
    percent = 100.0 * (steps[1] / steps[0] - 1.0) if steps[0] else math.nan
    return Drift(opening.id, closing.id, (closing.date - opening.date).days, percent)
