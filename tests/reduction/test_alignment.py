import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.reduction.alignment import pooled_delay, ripple_of


def rippled(make_run, delay, seed, *, rate=100.0, seconds=40.0, noise=0.002):
    """A hold whose load ripples by 0.4 % and shows `delay` seconds late."""
    fine = 1000.0
    rng = np.random.default_rng(seed)
    count = round((seconds + 2) * fine)
    r = np.exp(-1 / fine / 0.5)
    ripple = lfilter([np.sqrt(1 - r**2)], [1, -r], rng.normal(0, 0.004, count))
    time = np.arange(0.0, seconds, 1 / rate)
    at = np.arange(count) / fine - 1.0
    true = 8e3 * (1 + np.interp(time, at, ripple))
    shown = 8e3 * (1 + np.interp(time - delay, at, ripple))
    probe = make_run(time, 0.0, 8e3, 2.0)
    torque = 0.12 * probe.geometry.faces * probe.geometry.radius_m * true
    torque *= 1 + rng.normal(0, noise, time.size)
    shown = shown * (1 + rng.normal(0, noise, time.size))
    return make_run(time, torque, shown, 2.0)


@pytest.mark.parametrize("delay", [-0.03, 0.0, 0.02, 0.05])
def test_the_delay_is_found(make_run, delay):
    ripples = [ripple_of(rippled(make_run, delay, seed)) for seed in range(8)]
    found = pooled_delay(ripples, 0.01)
    assert found.found
    assert found.value == pytest.approx(delay, abs=3 * found.u)
    assert found.u < 2e-3


def test_stated_uncertainty_is_the_scatter(make_run):
    values, stated = [], []
    for start in range(0, 240, 6):
        ripples = [ripple_of(rippled(make_run, 0.02, start + i, seconds=15.0)) for i in range(6)]
        found = pooled_delay(ripples, 0.01)
        values.append(found.value)
        stated.append(found.u)
    assert np.std(values) == pytest.approx(np.sqrt(np.mean(np.square(stated))), rel=0.35)
    assert np.mean(values) == pytest.approx(0.02, abs=3 * np.std(values) / np.sqrt(40))


def test_without_ripple_the_sampling_step_stands_for_it(make_run):
    time = np.arange(0.0, 30.0, 0.02)
    runs = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        load = 8e3 * (1 + rng.normal(0, 0.002, time.size))
        runs.append(make_run(time, 360 + rng.normal(0, 1, time.size), load, 2.0))
    found = pooled_delay([ripple_of(run) for run in runs], 0.02)
    assert not found.found
    assert found.value == 0.0
    assert found.u == pytest.approx(0.02 / np.sqrt(3))


def test_a_slow_log_shows_no_delay(make_run):
    time = np.arange(0.0, 100.0, 0.5)
    assert ripple_of(make_run(time, 360.0, 8e3, 2.0)) is None
