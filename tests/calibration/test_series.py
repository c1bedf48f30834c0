import datetime
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.polynomial import calibrate
from rigdata.calibration.tabulation import tabulate
from rigdata.campaign.records import CalibrationRecord

LOADS = np.array([0.0, 100.0, 200.0, 300.0, 400.0])
ROUND = np.concatenate([LOADS, LOADS[-2::-1]])
WAY = ["up"] * 5 + ["down"] * 4


def record(rows: np.ndarray, *, applied: np.ndarray = ROUND, **changes) -> CalibrationRecord:
    """Lay a record out of one row of readings a series."""
    count = len(rows)
    values = {
        "path": Path("r.toml"),
        "sha256": "",
        "id": "R-1",
        "sensor": "cell",
        "quantity": "torque",
        "applied_unit": "N*m",
        "indicated_unit": "mV/V",
        "date": datetime.date(2025, 1, 1),
        "valid_until": datetime.date(2026, 1, 1),
        "reference_expanded_u_percent": 0.1,
        "coverage_factor": 2.0,
        "temperature_c": 23.0,
        "degree": 1,
        "series": np.repeat([str(i + 9) for i in range(count)], applied.size),
        "direction": np.tile(WAY[: applied.size], count),
        "applied": np.tile(applied, count),
        "indicated": np.concatenate(rows),
    }
    return CalibrationRecord(**(values | changes))


LENS = np.array([0, 0, 0, 0, 0, 3, 4, 3, 0]) * 1e-3  # hysteresis on the way back


def noisy(seed: int, count: int, noise: float, lens: float = 0.0) -> list[np.ndarray]:
    rng = np.random.default_rng(seed)
    return [0.005 * ROUND + lens * LENS + rng.normal(0.0, noise, 9) for _ in range(count)]


def test_the_table_holds_each_reading_in_its_place():
    rows = [0.005 * ROUND + 1e-3 * np.arange(9), 0.01 + 0.005 * ROUND]
    table = tabulate(record(rows))
    assert table.loads.tolist() == [100.0, 200.0, 300.0, 400.0]
    assert table.up[0] == pytest.approx(0.005 * table.loads + [0.001, 0.002, 0.003, 0.004])
    assert table.down[0, :3] == pytest.approx([0.507, 1.006, 1.505])
    assert np.isnan(table.down[:, 3]).all()
    assert table.up[1] == pytest.approx(0.005 * table.loads)
    assert table.zero_before == pytest.approx([0.0, 0.01])
    assert table.zero_after == pytest.approx([0.008, 0.01])


def test_series_count_in_the_order_of_the_file():
    # "9", "10" and "11": sorted as text, "10" would be the first of its mounting.
    rows = [0.005 * ROUND, 0.00501 * ROUND, 0.00502 * ROUND]
    table = tabulate(record(rows, mounting=np.repeat(["a", "a", "b"], 9)))
    assert table.first_of_mounting.tolist() == [True, False, True]
    assert table.up[0] == pytest.approx(0.005 * table.loads)
    assert table.mean_up == pytest.approx(0.00501 * table.loads)
    assert table.reproducibility_percent == pytest.approx(100 * 0.02 / 5.01)
    assert table.repeatability_percent == pytest.approx(100 * 0.01 / 5.005)


def test_without_mountings_nothing_is_said_of_reproducibility():
    table = tabulate(record([0.005 * ROUND, 0.00501 * ROUND]))
    assert np.isnan(table.reproducibility_percent).all()
    assert table.repeatability_percent == pytest.approx(100 * 0.01 / 5.005)
    single = tabulate(record([0.005 * ROUND]))
    assert np.isnan(single.repeatability_percent).all()


def test_loads_that_are_a_little_off_are_compared_at_their_mean():
    off = ROUND + np.array([0, 0.3, -0.4, 0.2, 0, -0.3, 0.4, -0.2, 0.0])
    base = record([0.005 * ROUND, 0.005 * off])
    table = tabulate(replace(base, applied=np.concatenate([ROUND, off])))
    assert table.loads.size == 4
    assert table.repeatability_percent == pytest.approx(0.0, abs=1e-9)
    assert table.hysteresis == pytest.approx(0.0, abs=1e-9)


def test_hysteresis_and_spread_in_the_applied_unit():
    rows = [0.005 * ROUND + LENS, 0.005 * ROUND + LENS + 2e-3 * (ROUND == 200.0)]
    table = tabulate(record(rows))
    assert table.hysteresis == pytest.approx(0.8, rel=2e-3)  # 4e-3 at 200 N m/(mV/V)
    assert table.repeatability == pytest.approx(0.4, rel=2e-3)
    assert table.reversibility_percent[1] == pytest.approx(
        np.mean([100 * 4e-3 / 1.0, 100 * 4e-3 / 1.002])
    )


def test_scatter_is_that_of_one_reading_whatever_each_series_is_shifted_by():
    sizes = []
    for seed in range(200):
        rows = noisy(seed, 4, 1e-3)
        rows = [row + shift for row, shift in zip(rows, [0, 0.1, -0.2, 0.05], strict=True)]
        s, dof = tabulate(record(rows)).scatter
        assert dof == 3 * 6
        sizes.append(s**2)
    assert np.sqrt(np.mean(sizes)) == pytest.approx(0.2, rel=0.05)


def test_pure_scatter_is_rarely_taken_for_hysteresis():
    shown = [tabulate(record(noisy(seed, 3, 1e-3))).hysteresis_shown for seed in range(300)]
    assert 0.005 < np.mean(shown) < 0.10
    lensed = [tabulate(record(noisy(s, 3, 1e-3, 3.0))).hysteresis_shown for s in range(100)]
    assert np.mean(lensed) > 0.95


def test_the_reading_carries_the_scatter_about_the_curve_or_more():
    quiet = record(noisy(3, 3, 1e-3))
    assert not tabulate(quiet).hysteresis_shown
    assert calibrate(quiet).u_reading == calibrate(quiet).s
    # Rising twice and falling once: the curve hugs the rising branch, and s says too little.
    rows = [row[:5] for row in noisy(4, 12, 1e-4)]
    full = record(noisy(5, 2, 1e-4, 5.0))
    many = record(rows, applied=LOADS)
    both = {
        name: np.concatenate([getattr(many, name), getattr(full, name)])
        for name in ("direction", "applied", "indicated")
    }
    names = np.concatenate([[f"u{name}" for name in many.series], full.series])
    mixed = replace(full, series=names, **both)
    table, curve = tabulate(mixed), calibrate(mixed)
    expected = np.hypot(table.hysteresis / np.sqrt(12), table.scatter[0])
    assert curve.u_reading == pytest.approx(expected, rel=1e-9)
    assert curve.u_reading > 1.05 * curve.s
    assert curve.sensitivities([1e-3])[-1] == pytest.approx(curve.u_reading)


def test_a_record_without_zeros_takes_the_indicated_values_as_they_are():
    loads = LOADS[1:]
    table = tabulate(record([0.005 * loads + 0.1], applied=loads))
    assert table.up[0] == pytest.approx(0.005 * loads + 0.1)
    assert np.isnan(table.zero_before).all()
    assert np.isnan(table.zero_error_percent)


def test_the_largest_load_may_be_negative():
    table = tabulate(record([-0.005 * ROUND + LENS], applied=-ROUND))
    assert table.loads.tolist() == [-400.0, -300.0, -200.0, -100.0]
    assert table.full_deflection == pytest.approx(-2.0)
    assert table.reversibility_percent[2] == pytest.approx(0.4)
