import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.states import drift_between, sensor_states, state_notices
from rigdata.campaign.history import in_order
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Channel, LogSettings, Rig
from rigdata.errors import Notice, Severity

LOADS = np.array([0.0, 100.0, 200.0, 300.0, 400.0, 300.0, 200.0, 100.0, 0.0])
RIPPLE = 1e-5 * np.array([1.0, -2.0, 0.5, 1.0, -1.0, 2.0, -0.5, 1.0, -2.0])
DAY = datetime.date(2025, 6, 30)


def record(name: str, day: str, gain: float = 0.005, **changes) -> CalibrationRecord:
    base = CalibrationRecord(
        path=Path(f"{name}.toml"),
        sha256="",
        id=name,
        sensor="cell 7",
        quantity="torque",
        applied_unit="N*m",
        indicated_unit="mV/V",
        date=datetime.date.fromisoformat(day),
        valid_until=datetime.date(2026, 6, 30),
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


def rig(*records: CalibrationRecord) -> Rig:
    *earlier, newest = in_order(records)
    channels = {
        "slip_speed": Channel("slip_speed", column="n", unit="rpm", u=0.1),
        "torque": Channel(
            "torque", column="T", unit="mV/V", calibration=newest, earlier=tuple(earlier)
        ),
    }
    return Rig(Path("rig.toml"), "rig", 0.1, 0.01, LogSettings("t"), channels)


def test_one_record():
    (state,) = sensor_states(rig(record("A", "2025-01-01")), DAY)
    assert (state.channel, state.record.id, state.days_left) == ("torque", "A", 365)
    assert state.sources == ("torque:A:",)
    assert (state.drift, state.last_drift, state.drift_words) == (None, None, "not known")
    assert state.assessment.record == "A"
    assert state.class_words == "-"  # one series cannot be compared with any other
    twice = replace(
        record("A", "2025-01-01"),
        series=np.repeat(["1", "2"], 9),
        direction=(["up"] * 5 + ["down"] * 4) * 2,
        applied=np.tile(LOADS, 2),
        indicated=np.tile(0.005 * LOADS, 2),
    )
    assert sensor_states(rig(twice), DAY)[0].class_words == "00*"
    assert state_notices([state], DAY) == ()


def test_the_drift_of_a_closed_interval_is_known():
    found = record("B", "2025-12-27", 0.00505, role="as-found")
    left = record("C", "2025-12-27")
    bench = rig(record("A", "2025-01-01"), found, left)
    (state,) = sensor_states(bench, DAY)
    assert state.record.id == "A"
    assert state.drift is not None
    assert state.drift.percent == pytest.approx(100 * (1 / 1.01 - 1), abs=5e-3)
    assert state.drift_words == "-0.99 % in 360 days (A to B)"
    assert state.sources == ("torque:A:", "torque:B:", "torque:C:")
    (later,) = sensor_states(bench, datetime.date(2026, 3, 1))
    assert later.record.id == "C"
    assert later.drift is None
    assert later.drift_words == "not known; last -0.99 % in 360 days (A to B)"


def test_a_shift_of_the_zero_is_no_drift():
    moved = record("B", "2025-12-27")
    moved = replace(moved, indicated=moved.indicated + 0.3)
    assert drift_between(record("A", "2025-01-01"), moved).percent == pytest.approx(0.0, abs=1e-9)


def test_records_out_of_date_or_not_yet_made_are_warned_of():
    bench = rig(record("A", "2025-01-01"))
    late, early = datetime.date(2026, 7, 1), datetime.date(2024, 12, 31)
    (state,) = sensor_states(bench, late)
    (notice,) = state_notices([state], late)
    assert state.days_left == -1
    assert notice.severity is Severity.WARNING
    assert "valid until 2026-06-30" in notice.what
    (notice,) = state_notices(sensor_states(bench, early), early)
    assert "is of 2025-01-01, which is after 2024-12-31" in notice.what
    last = datetime.date(2026, 6, 30)
    assert state_notices(sensor_states(bench, last), last) == ()


def test_advice_and_what_reading_told_are_passed_on():
    said = Notice(Severity.NOTE, "A.toml", "the signature was not verified")
    curved = replace(
        record("A", "2025-01-01", notices=(said,)),
        indicated=0.005 * LOADS * (1 + 1e-4 * LOADS) + 1e2 * RIPPLE,
    )
    notices = state_notices(sensor_states(rig(curved), DAY), DAY)
    assert said in notices
    assert "degree 2 is advised" in notices[0].what
    assert notices[0].severity is Severity.NOTE
