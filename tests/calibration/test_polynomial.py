import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.polynomial import calibrate, covered
from rigdata.campaign.records import CalibrationRecord
from rigdata.errors import CalibrationError
from rigdata.uncertainty.sources import Effect, Scope

APPLIED = np.array([0.0, 5.0, 10.0, 15.0, 20.0, 15.0, 10.0, 5.0, 0.0])
RIPPLE = 1e-3 * np.array([1.0, -2.0, 0.5, 1.0, -1.0, 2.0, -0.5, 1.0, -2.0])


def record(**changes: object) -> CalibrationRecord:
    base = CalibrationRecord(
        path=Path("records/LC-1.toml"),
        sha256="0" * 64,
        id="LC-1",
        sensor="load cell",
        quantity="clamp_load",
        applied_unit="kN",
        indicated_unit="mV/V",
        date=datetime.date(2025, 3, 1),
        valid_until=datetime.date(2026, 3, 1),
        reference_expanded_u_percent=0.1,
        coverage_factor=2.0,
        temperature_c=21.0,
        degree=1,
        series=np.full(9, "1"),
        direction=np.array(["up"] * 5 + ["down"] * 4),
        applied=APPLIED,
        indicated=0.1 * APPLIED + RIPPLE,
    )
    return replace(base, **changes)


def test_units_are_converted_once() -> None:
    curve = calibrate(record())
    # 0.1 mV/V a kN: 1 mV/V is 10 kN.
    assert curve.applied([1e-3]) == pytest.approx([1e4], rel=1e-3)
    assert (curve.low, curve.high) == (0.0, 2e4)
    in_newtons = calibrate(record(applied_unit="N", applied=1e3 * APPLIED))
    assert in_newtons.applied([1e-3]) == pytest.approx(curve.applied([1e-3]), rel=1e-12)
    assert in_newtons.s == pytest.approx(curve.s, rel=1e-9)


def test_sources_are_named_after_the_record() -> None:
    curve = calibrate(record(degree=3))
    sources = curve.sources("R1")
    assert [source.id for source in sources] == [
        "clamp-load:LC-1:level",
        "clamp-load:LC-1:slope",
        "clamp-load:LC-1:curve",
        "clamp-load:LC-1:cubic",
        "clamp-load:LC-1:reference",
        "clamp-load:LC-1:residual:R1",
    ]
    assert [source.scope for source in sources] == [Scope.RIG] * 5 + [Scope.RUN]
    assert [source.effect for source in sources] == [
        Effect.ADDITIVE,
        *[Effect.PROPORTIONAL] * 4,
        Effect.ADDITIVE,
    ]
    assert all(source.kind == "clamp-load" for source in sources)
    assert all("LC-1" in source.label for source in sources)


def test_two_runs_share_the_record_but_not_its_residual() -> None:
    curve = calibrate(record())
    first, second = curve.sources("R1"), curve.sources("R2")
    assert first[:-1] == second[:-1]
    assert first[-1] != second[-1]


def test_quantity_becomes_one_word() -> None:
    assert calibrate(record(quantity="angular speed")).kind == "angular-speed"
    assert calibrate(record(quantity="force"), kind="torque").sources("R")[0].kind == "torque"


@pytest.mark.parametrize("degree", [1, 2, 3])
def test_sensitivities_are_the_uncertainty_of_the_curve(degree: int) -> None:
    curve = calibrate(record(degree=degree))
    indicated = 1e-3 * np.linspace(-0.1, 2.2, 9)
    rows = curve.sensitivities(indicated)
    assert rows.shape == (degree + 3, 9)
    assert len(curve.sources("R")) == degree + 3
    fit_part = np.sqrt(np.sum(rows[: degree + 1] ** 2, axis=0))
    assert fit_part == pytest.approx(curve.fit.u_curve(indicated), rel=1e-10)
    assert rows[-2] == pytest.approx(0.0005 * curve.applied(indicated), rel=1e-12)
    assert rows[-1] == pytest.approx(curve.s)


def test_slope_is_apart_from_level_over_the_record() -> None:
    data = record()
    curve = calibrate(data)
    level, slope = curve.sensitivities(1e-3 * data.indicated)[:2]
    assert level == pytest.approx(curve.s / 3.0)  # s / sqrt(9 points)
    assert slope.sum() == pytest.approx(0.0, abs=1e-9 * np.abs(slope).sum())
    assert slope[4] > 0 > slope[0]
    assert slope @ slope == pytest.approx(curve.s**2)


def test_a_sensor_that_reads_downwards() -> None:
    data = record()
    turned = calibrate(record(indicated=-data.indicated))
    assert turned.applied(-1e-3 * data.indicated) == pytest.approx(
        calibrate(data).applied(1e-3 * data.indicated), rel=1e-9, abs=1e-6
    )


def test_missing_readings_stay_missing() -> None:
    curve = calibrate(record())
    indicated = np.array([np.nan, 1e-3])
    assert np.isnan(curve.applied(indicated)).tolist() == [True, False]
    assert np.isnan(curve.sensitivities(indicated))[:, 0].all()


def test_range_of_the_record_with_its_margin() -> None:
    curve = calibrate(record())
    values = [-1001.0, -999.0, 0.0, 2e4, 20999.0, 21001.0, np.nan]
    assert curve.covers(values).tolist() == [False, True, True, True, True, False, False]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"indicated": np.full(9, 0.5)}, "every coefficient"),
        ({"applied": APPLIED[:2], "indicated": 0.1 * APPLIED[:2]}, "degrees of freedom"),
        ({"reference_expanded_u_percent": 0.0}, "reference standard"),
        ({"reference_expanded_u_percent": float("nan")}, "reference standard"),
        ({"degree": 4}, "degree 4"),
        ({"degree": 0}, "degree 0"),
        ({"degree": 2, "indicated": (APPLIED - 8.0) ** 2}, "turns round"),
    ],
)
def test_records_that_cannot_be_used(changes: dict[str, object], message: str) -> None:
    with pytest.raises(CalibrationError, match=message) as error:
        calibrate(record(**changes))
    assert error.value.where == "records/LC-1.toml"
    assert error.value.expected


def test_the_margin_is_a_share_of_the_span_alone() -> None:
    """From 100 to 200 it is 5, though the record starts far from nought."""
    inside = covered([94.9, 95.1, 150.0, 204.9, 205.1, np.nan], 100.0, 200.0)
    assert inside.tolist() == [False, True, True, True, False, False]


@pytest.mark.parametrize(("least", "loaded"), [(0.09, False), (0.11, True)])
def test_a_load_within_half_a_percent_of_the_top_is_none_for_the_reference(
    least: float, loaded: bool
) -> None:
    """Its uncertainty falls to nothing there, so that a zero does not cancel it."""
    applied = np.where(APPLIED == 0.0, least, APPLIED)
    curve = calibrate(record(applied=applied, reference_u=np.full(9, 0.02)))
    sizes, u = curve.reference
    assert sizes == pytest.approx([0.0, *[1e3 * least] * loaded, 5e3, 1e4, 1.5e4, 2e4])
    assert u == pytest.approx([0.0, *[20.0] * loaded, 20.0, 20.0, 20.0, 20.0])
