import datetime
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.assessment import assess
from rigdata.calibration.classes import DEFAULT_LIMITS, read_limits
from rigdata.calibration.lower_limit import choose_degree
from rigdata.campaign.records import CalibrationRecord

LOADS = np.array([0.0, 250.0, 500.0, 750.0, 1000.0, 750.0, 500.0, 250.0, 0.0])
GAIN = 0.002  # mV/V a N


def record(rows: list[np.ndarray], **changes) -> CalibrationRecord:
    base = CalibrationRecord(
        path=Path("r.toml"),
        sha256="",
        id="R-1",
        sensor="cell",
        quantity="force",
        applied_unit="N",
        indicated_unit="mV/V",
        date=datetime.date(2025, 1, 1),
        valid_until=datetime.date(2026, 1, 1),
        reference_expanded_u_percent=0.1,
        coverage_factor=2.0,
        temperature_c=23.0,
        degree=1,
        series=np.repeat([str(i) for i in range(len(rows))], 9),
        direction=(["up"] * 5 + ["down"] * 4) * len(rows),
        applied=np.tile(LOADS, len(rows)),
        indicated=np.concatenate(rows),
    )
    return replace(base, **changes)


SOUND = [GAIN * LOADS * (1 + 1e-5 * i) for i in range(3)]


def test_a_sound_sensor():
    found = assess(record(SOUND, mounting=np.repeat(["0", "120", "240"], 9)))
    assert found.errors.reproducibility == pytest.approx(2e-3, rel=1e-4)
    assert np.isnan(found.errors.repeatability).all()
    assert found.errors.interpolation == pytest.approx(0.0, abs=2e-3)
    assert found.errors.zero == 0.0
    assert math.isnan(found.errors.creep)
    assert found.verdict is not None
    assert (found.verdict.name, found.verdict.not_shown) == ("00", ("repeatability",))
    assert found.full_load == 1000.0


def test_interpolation_is_the_error_of_the_curve_in_use_above_its_zero():
    bent = [GAIN * (LOADS + 8e-6 * LOADS**2) + 0.05]
    found = assess(record(bent))
    curve = np.polynomial.Polynomial.fit(bent[0], LOADS, 1)
    up = slice(1, 5)
    read = curve(bent[0][up]) - curve(0.05)
    assert found.errors.interpolation == pytest.approx(
        100 * (read - LOADS[up]) / LOADS[up], rel=1e-6
    )
    assert np.abs(assess(record(bent, degree=2)).errors.interpolation).max() < 0.02


def test_units_of_the_record_are_kept():
    newton = assess(record(SOUND, indicated_unit="V"))
    kilo = assess(record(SOUND, indicated_unit="V", applied_unit="kN", applied=LOADS3 / 1e3))
    assert kilo.residual_sd == pytest.approx(newton.residual_sd / 1e3, rel=1e-6)
    assert kilo.errors.interpolation == pytest.approx(newton.errors.interpolation, rel=1e-6)
    assert kilo.limit is not None
    assert newton.limit is not None
    assert kilo.limit.load == pytest.approx(newton.limit.load / 1e3, rel=1e-6)


LOADS3 = np.tile(LOADS, 3)


def test_the_worst_residual_keeps_its_sign():
    rows = [row.copy() for row in SOUND]
    rows[1][3] += 5e-3  # reads 2.5 N too much, so the applied value lies below the curve
    found = assess(record(rows))
    assert found.worst_residual == pytest.approx(-2.5, rel=0.1)
    assert found.words[0].startswith("worst residual -2.")
    assert "N (0.2" in found.words[0]


def test_hysteresis_that_is_shown_is_said_and_carried():
    lens = 4e-3 * np.array([0, 0, 0, 0, 0, 0.0, 1.0, 0.0, 0.0])
    found = assess(record([row + lens for row in SOUND]))
    assert found.hysteresis == pytest.approx(2.0, rel=0.01)
    assert found.hysteresis_shown
    assert found.u_reading >= found.residual_sd
    assert "hysteresis 2" in found.words[1]
    assert "scatter" not in found.words[1]
    assert found.errors.reversibility[1] == pytest.approx(0.4, rel=1e-3)


def test_creep():
    found = assess(record(SOUND, indicated_after_30s=2.0, indicated_after_300s=1.999))
    assert found.errors.creep == pytest.approx(-100 * 0.001 / 2.0, rel=1e-4)
    assert any(words.startswith("creep -0.05 %") for words in found.words)


def test_too_few_readings_give_no_lower_limit_and_say_so():
    keep = np.array([0, 2, 4])
    short = record(SOUND[:1])
    short = replace(
        short,
        **{n: getattr(short, n)[keep] for n in ("series", "direction", "applied", "indicated")},
    )
    found = assess(short)
    assert found.limit is None
    assert any("not determined" in words for words in found.words)
    assert "not shown (no falling loads)" in found.words[1]
    assert "not shown (one series only)" in found.words[1]


def test_a_speed_has_no_class():
    found = assess(record(SOUND, quantity="slip_speed", applied_unit="rpm", indicated_unit="V"))
    assert found.verdict is None
    assert not any("class 00" in words or "ISO" in words for words in found.words)


def test_limits_of_ones_own_are_used(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(DEFAULT_LIMITS.read_text().replace("reversibility = 0.07", "reversibility = 9"))
    lens = 4e-3 * np.array([0, 0, 0, 0, 0, 0.0, 1.0, 0.0, 0.0])
    rows = [row + lens for row in SOUND]
    own, shipped = assess(record(rows), read_limits(path)), assess(record(rows))
    assert own.verdict is not None
    assert shipped.verdict is not None
    assert own.verdict.name != shipped.verdict.name


class TestDegree:
    x = np.linspace(-1.0, 1.0, 24)
    noise = np.random.default_rng(2).normal(0.0, 1e-3, 24)

    def test_a_cubic_without_a_quadratic_is_found(self):
        choice = choose_degree(self.x, self.x + 0.02 * self.x**3 + self.noise, 1)
        assert choice.advised == 3
        assert not choice.trials[1].needed
        assert "degree 3 is advised: the term of degree 3 adds" in choice.words

    def test_a_straight_line_needs_no_more(self):
        choice = choose_degree(self.x, self.x + self.noise, 3)
        assert choice.advised == 1
        assert "degree 3 is stated, degree 1 is advised" in choice.words
        assert choose_degree(self.x, self.x + self.noise, 1).words == ""

    def test_points_on_the_line_are_no_evidence(self):
        assert choose_degree(self.x, 3.0 * self.x, 1).advised == 1
        assert choose_degree(self.x, np.zeros(24), 1).advised == 1

    def test_the_size_of_the_test_is_five_percent(self):
        rng = np.random.default_rng(8)
        hits = [
            choose_degree(self.x, self.x + rng.normal(0, 1e-3, 24), 1, most=2).advised == 2
            for _ in range(600)
        ]
        assert np.mean(hits) == pytest.approx(0.05, abs=0.027)
