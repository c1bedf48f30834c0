"""Readings that stay the same for longer than chance lets them."""

import numpy as np
import pytest

from rigdata.reduction.faults.plateaus import plateaus


def noise(count, step, seed=3):
    return np.round(np.random.default_rng(seed).normal(0.0, 1.0, count) / step) * step


def test_a_few_equal_readings_in_fine_noise_are_a_plateau():
    values = noise(2000, 0.01)
    values[700:712] = values[700]
    (found,) = plateaus(values)
    assert (found.start, found.stop) == (700, 712)


def test_a_whole_log_of_one_value_is_one():
    (found,) = plateaus(np.full(50, 0.3))
    assert len(found) == 50


@pytest.mark.parametrize("step", [0.01, 0.5, 2.0, 4.0])
def test_noise_in_steps_of_any_size_is_none(step):
    for seed in range(20):
        assert plateaus(noise(3000, step, seed)) == []


def test_a_slow_channel_repeated_in_every_row_is_none():
    assert plateaus(np.repeat(noise(300, 0.01), 4)) == []


def test_missing_readings_are_none():
    values = noise(300, 0.01)
    values[100:180] = np.nan
    assert plateaus(values) == []
