"""One whole friction point against GTC, an independent implementation of the GUM.

GTC 1.5 (MIT licence) is given the calibration points, the readings and the
measurement equation written anew; nothing of the reduction is used on its side.
"""

import datetime
import math
from pathlib import Path
from types import MappingProxyType, SimpleNamespace

import GTC
import numpy as np
import pytest
from uncertainties import correlated_values, ufloat

from rigdata.calibration.polynomial import calibrate
from rigdata.calibration.signals import Signal, Signals
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Channel
from rigdata.reduction.corrections import correct
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.windows import steady_windows
from rigdata.uncertainty.sources import Effect, Scope, Source

RADII = {"outer": 73.075, "inner": 60.275}
RUN = "R1"


def record(quantity, applied_unit, gain, seed):
    rng = np.random.default_rng(seed)
    applied = np.tile(np.linspace(0.0, 200.0 if quantity == "torque" else 4000.0, 9), 2)
    indicated = 0.01 + applied / gain + rng.normal(0, 1e-3, applied.size)
    return CalibrationRecord(
        path=Path(f"{quantity}.toml"),
        sha256="",
        id=f"{quantity}-1",
        sensor="S",
        quantity=quantity,
        applied_unit=applied_unit,
        indicated_unit="V",
        date=datetime.date(2025, 1, 1),
        valid_until=datetime.date(2026, 1, 1),
        reference_expanded_u_percent=0.4,
        coverage_factor=2.0,
        temperature_c=23.0,
        degree=1,
        series=np.repeat(["1", "2"], 9),
        direction=np.full(18, "up"),
        applied=applied,
        indicated=indicated,
    )


def signals_of(records, time, readings):
    channels = {}
    for name, rec in records.items():
        curve = calibrate(rec, kind=name.replace("_", "-"))
        channels[name] = Signal(
            name,
            curve.applied(readings[name]),
            np.ones(time.size, bool),
            curve.sources(RUN),
            curve.sensitivities(readings[name]),
        )
    stated = Source("slip-speed:direct", Scope.RIG, Effect.ADDITIVE, "stated")
    for name in ("slip_speed", "plate_temperature"):
        channels[name] = Signal(
            name, readings[name], np.ones(time.size, bool), (stated,), np.zeros((1, time.size))
        )
    return Signals(
        run=RUN,
        time_s=time,
        frame_s=0.02,
        n_samples=np.ones(time.size, int),
        channels=channels,
        counts={},
        notices=(),
        n_rows=time.size,
        sample_s=0.02,
        sha256="",
    )


@pytest.fixture
def measured():
    """A steady run between two idle stretches whose torque zero has moved."""
    records = {
        "torque": record("torque", "N*m", 100.0, 1),
        "clamp_load": record("clamp_load", "N", 1000.0, 2),
    }
    time = np.arange(0.0, 20.0, 0.02)
    pressed = (time >= 3.0) & (time < 17.0)
    flicker = 1e-4 * (-1.0) ** np.arange(time.size)  # alternating, so its mean is nil
    zero = np.where(time < 10, 0.012, 0.016)
    readings = {
        "torque": np.where(pressed, 0.51, zero) + flicker,
        "clamp_load": np.where(pressed, 1.51, 0.009) + flicker,
        "slip_speed": np.where(pressed, 2.0, 0.0),
        "plate_temperature": np.full(time.size, 80.0),
    }
    run = SimpleNamespace(id=RUN, procedure="steady", pack="P1")
    pack = SimpleNamespace(
        name="P1",
        material="rough",
        outer_radius_mm=RADII["outer"],
        inner_radius_mm=RADII["inner"],
        radius_u_mm=0.05,
        friction_faces=2,
        contact_area_fraction=1.0,
        pressure_law="uniform-pressure",
        spline_radius_mm=None,
        spline_friction=None,
        plate_thickness_mm=None,
        thermocouple_depth_mm=None,
        plate_conductivity_w_mk=None,
    )
    channel = {n: Channel(n, calibration=r) for n, r in records.items()}
    rig = SimpleNamespace(
        inertia_kg_m2=0.0, inertia_u_kg_m2=0.0, channels=MappingProxyType(channel)
    )
    corrected = correct(signals_of(records, time, readings), run, pack, rig, None, None)
    drafts = ratio_drafts(corrected, steady_windows(corrected))
    return records, corrected, drafts[0]


def by_gtc(records, window_s):
    """The same measurement equation with GTC's uncertain numbers."""

    def cell(rec, reading, zero):
        fit = GTC.ta.line_fit(rec.indicated.tolist(), rec.applied.tolist())
        level, slope = fit.a_b
        reference = GTC.ureal(1.0, 0.002)
        s = math.sqrt(fit.ssr / (rec.applied.size - 2))
        return ((level + slope * reading) - (level + slope * zero)) * reference + GTC.ureal(0, s)

    # The idle means lie at 1.5 and 18.5 s or close by; the straight line between them.
    start, end, middle = 1.44, 18.5, sum(window_s) / 2
    share = (middle - start) / (end - start)
    torque_zero = 0.012 + share * 0.004
    torque = cell(records["torque"], 0.51, torque_zero)
    slope = GTC.ta.line_fit(
        records["torque"].indicated.tolist(), records["torque"].applied.tolist()
    ).a_b[1]
    torque += GTC.ureal(0, 0.004 * slope.x / math.sqrt(12))
    load = cell(records["clamp_load"], 1.51, 0.009)
    outer, inner = GTC.ureal(RADII["outer"], 0.05), GTC.ureal(RADII["inner"], 0.05)
    radius = 2 * (outer**3 - inner**3) / (3 * (outer**2 - inner**2)) * 1e-3
    gap = radius.x - (outer.x + inner.x) / 2 * 1e-3
    return torque / (2 * (radius + GTC.ureal(0, gap / 2 / math.sqrt(3))) * load)


def by_uncertainties(records, window_s):
    """Once more with the package `uncertainties` (BSD licence) and lines by numpy's polyfit."""

    def cell(rec, reading, zero):
        (slope, level), covariance = np.polyfit(rec.indicated, rec.applied, 1, cov=True)
        slope, level = correlated_values((slope, level), covariance)
        residual = rec.applied - np.polyval((slope.n, level.n), rec.indicated)
        s = math.sqrt(residual @ residual / (residual.size - 2))
        difference = (level + slope * reading) - (level + slope * zero)
        return difference * ufloat(1.0, 0.002) + ufloat(0, s), slope.n

    share = (sum(window_s) / 2 - 1.44) / (18.5 - 1.44)
    torque, slope = cell(records["torque"], 0.51, 0.012 + share * 0.004)
    torque += ufloat(0, 0.004 * slope / math.sqrt(12))
    load, _ = cell(records["clamp_load"], 1.51, 0.009)
    outer, inner = ufloat(RADII["outer"], 0.05), ufloat(RADII["inner"], 0.05)
    radius = 2 * (outer**3 - inner**3) / (3 * (outer**2 - inner**2)) * 1e-3
    gap = radius.n - (outer.n + inner.n) / 2 * 1e-3
    return torque / (2 * (radius + ufloat(0, gap / 2 / math.sqrt(3))) * load)


def test_the_same_by_another_package(measured):
    records, _, draft = measured
    expected = by_uncertainties(records, (draft.start_s, draft.end_s))
    shared = math.sqrt(sum(c**2 for c in draft.contributions.values()))
    assert draft.mu == pytest.approx(expected.n, rel=2e-5)
    assert shared == pytest.approx(expected.s, rel=2e-3)


def test_value_and_combined_uncertainty(measured):
    records, _, draft = measured
    expected = by_gtc(records, (draft.start_s, draft.end_s))
    shared = math.sqrt(sum(c**2 for c in draft.contributions.values()))
    assert draft.mu == pytest.approx(expected.x, rel=2e-5)
    assert shared == pytest.approx(expected.u, rel=2e-3)


def test_a_level_error_cancels_and_a_slope_error_does_not(measured):
    _, _, draft = measured
    by_id = {source.id: value for source, value in draft.contributions.items()}
    assert abs(by_id.get("torque:torque-1:level", 0.0)) < 1e-12
    assert by_id["torque:torque-1:slope"] > 0
    assert by_id["torque:torque-1:reference"] == pytest.approx(0.002 * draft.mu, rel=1e-3)
    assert by_id["clamp-load:clamp_load-1:reference"] == pytest.approx(-0.002 * draft.mu, rel=1e-3)
