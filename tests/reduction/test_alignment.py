from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.calibration.signals import Signal
from rigdata.reduction.alignment import (
    LAGS_S,
    Delay,
    Ripple,
    aligned,
    aligned_reading,
    delay_notices,
    pooled_delay,
    ripple_of,
)
from rigdata.reduction.corrections import DELAY, DELAY_UNIT_S, local_slope
from rigdata.reduction.drafts import to_points
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.windows import Window, held_load


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


@pytest.mark.parametrize(("step", "shows"), [(0.058, True), (0.062, False)])
def test_frames_of_60_ms_are_the_slowest_to_show_a_delay(make_run, step, shows):
    run = rippled(make_run, 0.0, 1, rate=1 / step)
    assert (ripple_of(run) is not None) == shows


@pytest.mark.parametrize(("seconds", "shows"), [(3.8, False), (4.2, True)])
def test_a_hold_is_twice_as_long_as_the_slowest_ripple(make_run, seconds, shows):
    run = rippled(make_run, 0.0, 1, seconds=seconds + 0.4)  # 0.2 s settle at either end
    assert (ripple_of(run) is not None) == shows


def test_ripple_is_what_differs_from_the_mean_over_two_seconds(make_run):
    run = rippled(make_run, 0.02, 1, seconds=8.0)
    good = np.random.default_rng(2).random(run.time_s.size) > 0.1
    run = replace(run, usable=good)
    (held,) = held_load(run)
    time = run.time_s[held.frames]
    near = np.abs(time - time[:, None]) < 1.005
    torque, load = (
        (values - near @ values / near.sum(axis=1)) * good[held.frames]
        for values in (run.torque.values[held.frames], run.load.values[held.frames])
    )
    torque, load = torque - torque.mean(), load - load.mean()
    found = ripple_of(run)
    assert found.torque == pytest.approx(np.sum(torque**2))
    assert found.load == pytest.approx(np.sum(load**2))
    # Two lags a frame; those that fewer pairs of frames show count for as much.
    full = np.correlate(load, torque, "full") / np.correlate(*np.ones((2, time.size)), "full")
    middle = time.size - 1
    expected = time.size * full[middle - 40 : middle + 41]
    assert found.covariance[::2] == pytest.approx(expected)


def alike(delay, *, step=0.01, peak=1.0):
    """A ripple whose correlation falls with the square of the distance from its delay.

    Several of them together do so about the mean of their delays.
    """
    correlation = peak - (LAGS_S - delay) ** 2
    return Ripple(6.0 * correlation, 4.0, 9.0, step)


def test_delays_of_the_runs_are_averaged_with_the_standard_error_of_their_mean():
    delays = [0.0, 0.01, 0.03, 0.02]
    found = pooled_delay([alike(delay) for delay in delays], 0.01)
    assert found.value == pytest.approx(0.015, abs=1e-6)
    assert found.u == pytest.approx(np.std(delays, ddof=1) / 2.0, abs=2e-6)


def test_a_run_counts_by_its_frames_in_a_second():
    runs = [alike(0.0, step=0.01), alike(0.0, step=0.01), alike(0.05, step=0.005)]
    assert pooled_delay(runs, 0.01).value == pytest.approx(0.025, abs=1e-6)


@pytest.mark.parametrize(("peak", "shows"), [(0.095, False), (0.105, True)])
def test_ripples_that_show_a_delay_correlate_by_a_tenth(peak, shows):
    runs = [alike(0.01, peak=peak, step=step) for step in (0.01, 0.01, 0.02)]
    assert pooled_delay(runs, 0.01).found == shows


@pytest.mark.parametrize("way", [-1, 1])
@pytest.mark.parametrize(("away", "shows"), [(0.07, True), (0.08, False)])
def test_the_correlation_is_largest_within_75_ms_of_the_delay(away, shows, way):
    run = alike(0.0)
    covariance = run.covariance.copy()
    covariance[np.argmin(np.abs(LAGS_S - way * away))] *= 1.01
    found = pooled_delay([replace(run, covariance=covariance)] * 3, 0.01)
    assert found.found == shows


def test_the_correlation_balances_over_150_ms_on_either_side():
    def correlation(lag):
        return np.exp(-0.5 * ((lag - 0.02) / np.where(lag < 0.02, 0.05, 0.12)) ** 2)

    delay = pooled_delay([Ripple(correlation(LAGS_S), 1.0, 1.0, 0.01)] * 3, 0.01).value
    beside = np.linspace(0.0, 0.15, 3001)
    assert delay > 0.03
    assert correlation(delay + beside).mean() == pytest.approx(
        correlation(delay - beside).mean(), rel=1e-4
    )


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
    place = [s.id for s in reading.sources].index(DELAY.id)
    late = reading.load_shift[place, 0] / reading.load_n[0]
    assert late == pytest.approx(-0.05 * 0.003, rel=3e-3)


def test_only_a_delay_beyond_its_uncertainty_is_told():
    assert delay_notices(Delay(0.004, 0.003, found=True), "rig.toml") == []
    assert delay_notices(Delay(0.0, 0.01, found=False), "rig.toml") == []
    assert delay_notices(Delay(0.0057, 0.003, found=True), "rig.toml") == []
    assert len(delay_notices(Delay(0.0063, 0.003, found=True), "rig.toml")) == 1
    (note,) = delay_notices(Delay(-0.02, 0.003, found=True), "rig.toml")
    assert "20.0 ms" in note.what
    assert "earlier" in note.what
