import numpy as np
import pytest

from rigdata.simulation.calibrate import Standard, calibrate
from rigdata.simulation.rig import RigDesign, build_rig
from rigdata.simulation.sensors import DirectSensor, Logger, StrainCell, delayed

CELL = StrainCell(full_scale=1800.0, span_mv_v=1.8, bow=0.002, zero_mv_v=0.01)


def test_cell_meets_its_span_and_bows_between():
    reading = CELL.response(np.array([0.0, 900.0, 1800.0]))
    assert reading == pytest.approx([0.01, 0.01 + 0.9 * (1 - 0.001), 1.81])


def test_delay_is_late():
    shown = delayed(np.arange(100.0), 0.25, 0.1)
    assert shown[50] == pytest.approx(47.5)
    assert shown[0] == 0.0


def test_lasting_error_and_white_noise():
    sensor = DirectSensor(u=0.3, error=0.25, white_sd=0.1)
    shown = sensor.read(np.full(20_000, 80.0), np.random.default_rng(3), 0.1)
    assert shown.mean() == pytest.approx(80.25, abs=0.005)
    assert shown.std() == pytest.approx(0.1, rel=0.03)


def test_zero_differs_from_run_to_run_and_drifts():
    cell = StrainCell(1800.0, 1.8, zero_sd_mv_v=1e-3, drift_sd_mv_v=1e-3)
    rng = np.random.default_rng(4)
    runs = np.array([cell.read(np.zeros(50), rng, 1.0)[[0, -1]] for _ in range(2000)])
    assert runs[:, 0].std() == pytest.approx(1e-3, rel=0.1)
    assert np.diff(runs).std() == pytest.approx(1e-3, rel=0.15)


def test_logger_blanks_and_spikes():
    logger = Logger(dropout=0.01, spike=0.005)
    logged = logger.spoil(np.zeros(100_000), np.random.default_rng(5), spikes=True)
    assert np.isnan(logged).mean() == pytest.approx(0.01, rel=0.2)
    assert (np.abs(logged) > 0.1).mean() == pytest.approx(0.005, rel=0.2)
    clean = logger.spoil(np.zeros(1000), np.random.default_rng(5), spikes=False)
    assert np.nanmax(np.abs(clean)) == 0.0


def test_record_shows_the_cell_and_the_error_of_its_standard():
    # What the standard calls x is x (1 + e); a line through the readings of a
    # straight cell is then too steep by e.
    cell = StrainCell(full_scale=1800.0, span_mv_v=1.8)
    points = calibrate(cell, 0.004, np.random.default_rng(6), repeatability=1e-5)
    slope = np.polyfit(points.applied, points.indicated, 1)[0]
    assert slope == pytest.approx(1.8 / 1800.0 * 1.004, rel=2e-5)
    assert set(points.direction) == {"up", "down"}
    assert np.count_nonzero(points.applied == 0.0) == 6


@pytest.mark.parametrize("which", ["torque", "clamp_load"])
def test_hidden_errors_of_standards_agree_with_their_stated_uncertainty(which):
    stated = getattr(RigDesign(), which).standard
    errors = [build_rig(RigDesign(), seed).errors[f"{which}_reference"] for seed in range(600)]
    assert np.std(errors) == pytest.approx(stated.expanded_u_percent / 200.0, rel=0.08)
    assert abs(np.mean(errors)) < 3.0 * np.std(errors) / np.sqrt(600)


@pytest.mark.parametrize("which", ["torque", "clamp_load"])
def test_record_is_consistent_with_the_hidden_cell(which):
    # Readings of the record, taken back through the true cell, are the applied
    # values within the standard's expanded uncertainty and the repeatability.
    for seed in range(20):
        on_record = getattr(RigDesign(), which)
        error = Standard(on_record.standard.expanded_u_percent).hidden_error(
            np.random.default_rng(seed)
        )
        points = calibrate(on_record.cell, error, np.random.default_rng(seed))
        grid = np.linspace(-0.05, 1.05, 20_001) * on_record.cell.full_scale
        true = np.interp(points.indicated, on_record.cell.response(grid), grid)
        loaded = points.applied > 0.0
        ratio = (true / np.where(loaded, points.applied, 1.0))[loaded].mean() - 1.0
        assert ratio == pytest.approx(error, abs=3e-4)
        assert abs(error) < 3.5 * on_record.standard.expanded_u_percent / 200.0
