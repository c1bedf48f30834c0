import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.drift import DriftingCalibration, curve_on
from rigdata.calibration.polynomial import SensorCalibration, calibrate
from rigdata.campaign.records import CalibrationRecord
from rigdata.errors import CalibrationError
from rigdata.uncertainty.sources import Effect, Scope

LOADS = np.array([0.0, 100.0, 200.0, 300.0, 400.0, 300.0, 200.0, 100.0, 0.0])
RIPPLE = 1e-4 * np.array([1.0, -2.0, 0.5, 1.0, -1.0, 2.0, -0.5, 1.0, -2.0])


def record(name: str, day: str, gain: float = 0.005, **changes) -> CalibrationRecord:
    base = CalibrationRecord(
        path=Path(f"{name}.toml"),
        sha256="",
        id=name,
        sensor="cell",
        quantity="torque",
        applied_unit="N*m",
        indicated_unit="mV/V",
        date=datetime.date.fromisoformat(day),
        valid_until=datetime.date(2030, 1, 1),
        reference_expanded_u_percent=0.2,
        coverage_factor=2.0,
        temperature_c=23.0,
        degree=1,
        series=np.full(9, "1"),
        direction=["up"] * 5 + ["down"] * 4,
        applied=LOADS,
        indicated=gain * LOADS + RIPPLE,
    )
    return replace(base, **changes)


A = record("A", "2025-01-01")
B = record("B", "2025-12-27", 0.00505)  # 360 days on, 1 % more sensitive
X = 1e-3 * np.array([0.5, 1.0, 2.0])


def on(day: str, *records: CalibrationRecord) -> SensorCalibration | DriftingCalibration:
    return curve_on(records, datetime.date.fromisoformat(day), kind="torque", run="R1")


def row(curve, name: str) -> np.ndarray:
    ids = [source.id for source in curve.sources("R1")]
    return curve.sensitivities(X)[ids.index(name)]


def test_half_way_in_time_is_half_way_between_the_curves():
    curve = on("2025-06-30", A, B)
    assert curve.weight == pytest.approx(0.5)
    y0, y1 = calibrate(A).applied(X), calibrate(B).applied(X)
    assert curve.applied(X) == pytest.approx((y0 + y1) / 2)
    assert on("2025-01-01", A, B).applied(X) == pytest.approx(y0)
    quarter = on("2025-04-01", A, B)
    assert quarter.applied(X) == pytest.approx(0.75 * y0 + 0.25 * y1)


def test_the_drift_is_a_source_of_the_rig_in_its_full_size():
    y0, y1 = calibrate(A).applied(X), calibrate(B).applied(X)
    for day in ("2025-02-01", "2025-06-30", "2025-12-01"):
        curve = on(day, A, B)
        assert row(curve, "torque:A:drift") == pytest.approx((y1 - y0) / np.sqrt(12))
    (drift,) = (s for s in curve.sources("R1") if s.id.endswith(":drift"))
    assert (drift.scope, drift.effect) == (Scope.RIG, Effect.PROPORTIONAL)
    assert drift.label == "torque: drift of the sensor (A to B)"


def test_every_source_has_its_row_and_ids_are_unique():
    curve = on("2025-06-30", A, B)
    ids = [source.id for source in curve.sources("R1")]
    assert ids == [
        "torque:A:level",
        "torque:A:slope",
        "torque:A:reference",
        "torque:B:level",
        "torque:B:slope",
        "torque:B:reference",
        "torque:A:drift",
        "torque:A:residual:R1",
    ]
    assert curve.sensitivities(X).shape == (len(ids), X.size)


def test_two_references_do_not_average_out():
    curve = on("2025-06-30", A, B)
    both = np.hypot(row(curve, "torque:A:reference"), row(curve, "torque:B:reference"))
    assert both == pytest.approx(0.001 * curve.applied(X), rel=1e-9)
    assert row(curve, "torque:A:slope") == pytest.approx(
        0.5 * calibrate(A, kind="torque").sensitivities(X)[1]
    )


def test_the_residual_is_the_larger_of_the_two():
    rough = replace(B, indicated=B.indicated + 2.0 * RIPPLE)
    curve = on("2025-06-30", A, rough)
    assert row(curve, "torque:A:residual:R1") == pytest.approx(calibrate(rough).u_reading)


def test_no_drift_is_made_up_where_none_is_known():
    for records, day in (([A], "2025-06-30"), ([A, B], "2026-02-01"), ([A, B], "2024-06-01")):
        curve = on(day, *records)
        assert isinstance(curve, SensorCalibration)
    assert on("2026-02-01", A, B).record == "B"
    assert on("2025-12-27", A, B).record == "B"
    assert on("2024-06-01", A, B).record == "A"


def test_work_on_the_sensor_is_no_drift():
    found = record("B1", "2025-12-27", 0.00505, role="as-found")
    left = record("B2", "2025-12-27", 0.005)
    before = on("2025-06-30", A, found, left)
    assert before.record == "A to B1"
    assert on("2025-12-27", A, found, left).record == "B2"
    assert on("2026-03-01", left, A, found).record == "B2"
    later = record("C", "2026-12-22", 0.0051)
    assert on("2026-06-24", A, found, left, later).record == "B2 to C"


def test_the_range_is_what_both_records_cover():
    short = record("S", "2025-12-27", applied=0.5 * LOADS, indicated=0.0025 * LOADS + RIPPLE)
    curve = on("2025-06-30", A, short)
    assert (curve.low, curve.high) == (0.0, 200.0)
    assert curve.covers([205.0, 215.0, np.nan]).tolist() == [True, False, False]


def test_several_records_need_a_date():
    with pytest.raises(CalibrationError, match=r"run R1: the run has no date, and clamp load has"):
        curve_on([A, B], None, kind="clamp-load", run="R1")
    assert curve_on([A], None, kind="torque", run="R1").record == "A"


def test_missing_readings_stay_missing():
    curve = on("2025-06-30", A, B)
    assert np.isnan(curve.sensitivities([np.nan])).all()
    assert np.isnan(curve.applied([np.nan])).all()
