from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.calibration.signals import Signal
from rigdata.reduction.alignment import (
    Delay,
    aligned,
    aligned_reading,
    delay_notices,
    pooled_delay,
    ripple_of,
)
from rigdata.reduction.corrections import DELAY, DELAY_UNIT_S, local_slope
from rigdata.reduction.drafts import to_points
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.windows import Window


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


def ramped(make_run, delay):
    """A load that climbs through one window and shows `delay` late."""
    time = np.arange(0.0, 4.0, 0.01)
    true = 8e3 * np.exp(0.05 * time)
    shown = 8e3 * np.exp(0.05 * (time - delay))
    probe = make_run(time, 0.0, shown, 2.0)
    run = make_run(time, 0.12 * probe.geometry.faces * probe.geometry.radius_m * true, shown, 2.0)
    late = -DELAY_UNIT_S * local_slope(time, shown, 0.2)
    load = Signal(
        "clamp_load",
        shown,
        run.usable,
        (*run.load.sources, DELAY),
        np.vstack([run.load.sensitivity, late]),
    )
    return replace(run, load=load)


@pytest.mark.parametrize("delay", [-0.02, 0.02])
def test_points_are_moved_to_where_they_would_be_without_the_delay(make_run, delay):
    run = ramped(make_run, delay)
    drafts = ratio_drafts(run, [Window(np.arange(50, 350), "up")])
    points = to_points(run, drafts)
    assert points.mu[0] == pytest.approx(0.12 * np.exp(0.05 * delay), rel=1e-5)
    moved = aligned(points, Delay(delay, 0.003, found=True))
    assert moved.mu[0] == pytest.approx(0.12, rel=1e-5)
    assert moved.pressure_mpa[0] / points.pressure_mpa[0] == pytest.approx(
        np.exp(0.05 * delay), rel=1e-5
    )
    place = [s.id for s in moved.sources].index(DELAY.id)
    # A delay 3 ms later would show the load 0.015 % lower and mu as much higher.
    assert moved.contributions.toarray()[0, place] == pytest.approx(0.12 * 0.05 * 0.003, rel=3e-3)
    reading = aligned_reading(drafts[0].reading, Delay(delay, 0.003, found=True))
    mu = reading.torque_nm[0] / reading.arm_m / reading.load_n[0]
    assert mu == pytest.approx(0.12, rel=1e-5)


def test_only_a_delay_beyond_its_uncertainty_is_told():
    assert delay_notices(Delay(0.004, 0.003, found=True), "rig.toml") == []
    assert delay_notices(Delay(0.0, 0.01, found=False), "rig.toml") == []
    (note,) = delay_notices(Delay(-0.02, 0.003, found=True), "rig.toml")
    assert "20.0 ms" in note.what
    assert "earlier" in note.what
