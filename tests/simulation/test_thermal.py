import numpy as np
import pytest

from rigdata.simulation.thermal import PlateLump

LUMP = PlateLump(heat_capacity_j_k=900.0, conductance_w_k=70.0)


def test_heat_in_less_heat_out_is_heat_kept():
    rng = np.random.default_rng(1)
    power, oil = 2000.0 * rng.random(800), 60.0 + rng.random(800).cumsum() / 20.0
    plate = LUMP.temperature(power, oil, step_s=0.05, start_c=75.0)

    def over_time(values):
        return np.sum((values[1:] + values[:-1]) / 2.0) * 0.05

    kept = 900.0 * (plate[-1] - plate[0])
    assert kept == pytest.approx(over_time(power) - 70.0 * over_time(plate - oil), rel=1e-9)


def test_settles_where_cooling_meets_heating():
    plate = LUMP.temperature(np.full(5000, 1400.0), np.full(5000, 90.0), step_s=0.1, start_c=90.0)
    assert plate[-1] == pytest.approx(90.0 + 1400.0 / 70.0)


def test_cools_along_the_exponential():
    time = np.arange(600) * 0.1
    plate = LUMP.temperature(np.zeros(600), np.full(600, 50.0), step_s=0.1, start_c=150.0)
    assert plate == pytest.approx(50.0 + 100.0 * np.exp(-time * 70.0 / 900.0), abs=1e-3)
