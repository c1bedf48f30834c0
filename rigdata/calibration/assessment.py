"""What one calibration record says about its sensor.

The readings of a record show more than a curve: whether the sensor repeats,
comes back, creeps, how low it may be read, and whether the stated degree suits
it.  All of it is worked out here, in the units of the record.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.calibration.classes import ClassLimits, ClassVerdict, Errors, classify, read_limits
from rigdata.calibration.lower_limit import (
    CLASS_FACTORS,
    MOST_DEGREE,
    SOURCE,
    DegreeChoice,
    LowerLimit,
    choose_degree,
    lower_limit,
)
from rigdata.calibration.polynomial import SensorCalibration, calibrate
from rigdata.calibration.series import SeriesTable
from rigdata.calibration.tabulation import tabulate
from rigdata.campaign.records import CalibrationRecord
from rigdata.quantities import UNITS, to_base, unit_named

CLASSED = ("force", "torque")  # what the classes are meant for


@dataclass(frozen=True, eq=False)
class Assessment:
    """A calibration record, assessed.

    Attributes
    ----------
    record : str
        Id of the record.
    unit : str
        Unit of every load below, the applied unit of the record.
    errors : Errors
        Repeatability, reproducibility, interpolation, reversibility, zero
        error and creep, in percent.
    hysteresis : float
        Largest difference between falling and rising load. [unit]
    hysteresis_shown : bool
        Whether that is more than scatter.
    repeatability : float
        Largest spread between series at one load and direction. [unit]
    residual_sd : float
        Residual standard deviation about the curve. [unit]
    worst_residual : float
        Largest distance of a reading from the curve, with its sign. [unit]
    u_reading : float
        Standard uncertainty that a reading of one run carries for all of this:
        the larger of `residual_sd` and of what hysteresis and repeatability
        give. [unit]
    full_load : float
        Size of the largest load. [unit]
    limit : LowerLimit or None
        Lower limit factor; None where the readings do not give one.
    degree : DegreeChoice
        Whether the stated degree suits the readings.
    verdict : ClassVerdict or None
        Class in the manner of ISO 376; None where the record is not of a force
        or a torque.
    """

    record: str
    unit: str
    errors: Errors
    hysteresis: float
    hysteresis_shown: bool
    repeatability: float
    residual_sd: float
    worst_residual: float
    u_reading: float
    full_load: float
    limit: LowerLimit | None
    degree: DegreeChoice
    verdict: ClassVerdict | None

    @property
    def words(self) -> tuple[str, ...]:
        """What an engineer should know, one sentence each."""
        share = 100.0 * abs(self.worst_residual) / self.full_load
        scatter = "" if self.hysteresis_shown or not self.hysteresis else " (no more than scatter)"
        said = [
            f"worst residual {self.worst_residual:.3g} {self.unit} ({share:.2g} % of full load)",
            f"hysteresis {self._size(self.hysteresis, 'no falling loads')}{scatter}, "
            f"repeatability {self._size(self.repeatability, 'one series only')}",
        ]
        if math.isfinite(self.errors.zero):
            said.append(f"zero error {self.errors.zero:.2g} % of full deflection")
        if math.isfinite(self.errors.creep):
            said.append(f"creep {self.errors.creep:.2g} % of full deflection")
        said.append(self._limit_words())
        if self.verdict is not None:
            said.append(self.verdict.words)
        if self.degree.words:
            said.append(self.degree.words)
        return tuple(said)

    def _size(self, value: float, otherwise: str) -> str:
        return f"{value:.3g} {self.unit}" if value > 0.0 else f"not shown ({otherwise})"

    def _limit_words(self) -> str:
        if self.limit is None:
            return "lower limit factor not determined: too few loaded readings"
        lowest = ", ".join(
            f"class {name} from {self.limit.lowest_load(name):.4g} {self.unit}"
            + (" (beyond full load)" if self.limit.lowest_load(name) > self.full_load else "")
            for name in CLASS_FACTORS
        )
        return (
            f"lower limit factor {self.limit.load:.3g} {self.unit} by the mean ratio of load to "
            f"deflection, degree {self.limit.degree}: {lowest} ({SOURCE})"
        )


def assess(record: CalibrationRecord, limits: ClassLimits | None = None) -> Assessment:
    """Assess a calibration record.

    Parameters
    ----------
    record : CalibrationRecord
        The record.
    limits : ClassLimits, optional
        Limits of the classes; those of the package unless given, which are from
        memory.

    Returns
    -------
    Assessment

    Raises
    ------
    CalibrationError
        When the record cannot be fitted.

    Notes
    -----
    The interpolation error is that of the curve the package reads with:
    ``fc = 100 (y(Xr + i0) - y(i0) - F) / F`` with y the curve, Xr the mean
    deflection at the load F and i0 the mean zero reading.  Creep is
    ``c = 100 (i300 - i30) / XN`` with the readings 300 and 30 s after the
    largest load was reached and XN its mean deflection.  For the others see
    `rigdata.calibration.series.SeriesTable`.
    """
    curve = calibrate(record)
    table = tabulate(record)
    factor = UNITS[record.applied_unit].factor
    errors = Errors(
        loads=table.loads,
        reproducibility=table.reproducibility_percent,
        repeatability=table.repeatability_percent,
        interpolation=_interpolation(record, table, curve),
        reversibility=table.reversibility_percent,
        zero=table.zero_error_percent,
        creep=_creep(record, table),
    )
    indicated = to_base(record.indicated, unit_named(record.indicated_unit, None, where=""))
    applied = to_base(record.applied, UNITS[record.applied_unit])
    residuals = (applied - curve.applied(indicated)) / factor
    verdict = None
    if UNITS[record.applied_unit].dimension in CLASSED:
        verdict = classify(errors, limits or read_limits(), record.applied_unit)
    most = min(MOST_DEGREE, np.unique(record.applied).size - 2)
    return Assessment(
        record=record.id,
        unit=record.applied_unit,
        errors=errors,
        hysteresis=table.hysteresis,
        hysteresis_shown=table.hysteresis_shown,
        repeatability=table.repeatability,
        residual_sd=curve.s / factor,
        worst_residual=float(residuals[np.argmax(np.abs(residuals))]),
        u_reading=curve.u_reading / factor,
        full_load=float(np.max(np.abs(record.applied))),
        limit=lower_limit(record, table),
        degree=choose_degree(record.indicated, record.applied, record.degree, most=most),
        verdict=verdict,
    )


def _interpolation(
    record: CalibrationRecord, table: SeriesTable, curve: SensorCalibration
) -> FloatArray:
    """Return the error of the curve against the mean of the series at each load. [%]"""
    unit = UNITS[record.indicated_unit]
    known = np.isfinite(table.zero_before)
    zero = float(table.zero_before[known].mean()) if known.any() else 0.0
    read = curve.applied(to_base(table.mean_up + zero, unit))
    if known.any():
        read = read - curve.applied(to_base(np.array([zero]), unit))
        true = UNITS[record.applied_unit].factor * table.loads
    else:
        true = to_base(table.loads, UNITS[record.applied_unit])
    some = true != 0.0
    percent: FloatArray = np.where(some, 100.0 * (read - true) / np.where(some, true, 1.0), np.nan)
    return percent


def _creep(record: CalibrationRecord, table: SeriesTable) -> float:
    early, late = record.indicated_after_30s, record.indicated_after_300s
    if early is None or late is None:
        return math.nan
    return 100.0 * (late - early) / table.full_deflection
