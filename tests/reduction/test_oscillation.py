"""Planted torque oscillations, averaged into frames as a log would be."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.reduction.oscillation import CONFIDENCE, cell_noise, oscillation
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.spectrum import FALSE_ALARM, find_line
from rigdata.reduction.stretches import Stretch
from rigdata.reduction.windows import steady_windows
from rigdata.reduction.zero import Idle

MEAN_NM = 200.0
IDLE_S = 3.0


@pytest.fixture
def sampled(make_run):
    """Return a function that samples a torque, idle at first, and averages it into frames."""

    def make(wave, *, rate=1000.0, frame_s=0.005, seconds=15.0, noise=2.0, seed=1, idle_wave=None):
        per = round(frame_s * rate)
        time = np.arange(round(seconds / frame_s) * per) / rate
        idle = time < IDLE_S
        drawn = np.random.default_rng(seed).normal(0.0, noise, time.size)
        torque = np.where(idle, 0.0, MEAN_NM * (1.0 + wave(time))) + drawn
        if idle_wave is not None:
            torque += idle_wave(time)
        rows = torque.reshape(-1, per)
        frames = time.reshape(-1, per).mean(axis=1)
        on = np.where(frames < IDLE_S, 0.0, 1.0)
        run = make_run(frames, rows.mean(axis=1), 8e3 * on, 2.0 * on, idle_s=IDLE_S)
        return replace(
            run,
            torque=replace(run.torque, spread=rows.std(axis=1)),
            n_samples=np.full(frames.size, per),
        )

    return make


def sine(share, hz, phase=0.4):
    return lambda time: share * np.sin(2 * np.pi * hz * time + phase)


def window(run, start, seconds):
    return np.flatnonzero((run.time_s >= start) & (run.time_s < start + seconds))


def measured(run, start=4.0, seconds=1.0):
    return oscillation(run, window(run, start, seconds), cell_noise(run))


@pytest.mark.parametrize("seconds", [1.0, 3.0, 10.0])
@pytest.mark.parametrize("rate", [100.0, 1000.0])
def test_5_percent_at_12_hz(sampled, rate, seconds):
    run = sampled(sine(0.05, 12.0), rate=rate, frame_s=max(0.005, 1 / rate))
    found = measured(run, seconds=seconds)
    assert found.ripple == pytest.approx(0.05, rel=0.10)
    assert found.hz == pytest.approx(12.0, abs=0.2)
    assert found.limit < 0.015
    assert np.isnan(found.above_hz)


@pytest.mark.parametrize("hz", [27.0, 80.0, 130.0])
def test_faster_than_the_frames_show(sampled, hz):
    """Frames of 50 Hz show 80 Hz as a line at 20 Hz: an alias that is not reported."""
    run = sampled(sine(0.05, hz), frame_s=0.02)
    found = measured(run)
    assert found.ripple == pytest.approx(0.05, rel=0.10)
    assert found.above_hz == pytest.approx(25.0)
    assert np.isnan(found.hz)


def test_the_alias_is_there_to_be_fallen_for(sampled):
    run = sampled(sine(0.05, 80.0), frame_s=0.02)
    blind = replace(run, torque=replace(run.torque, spread=None))
    assert measured(blind).hz == pytest.approx(20.0, abs=0.2)


@pytest.mark.parametrize("hz", [22.0, 24.0])
def test_just_below_half_the_frame_rate(sampled, hz):
    found = measured(sampled(sine(0.05, hz), frame_s=0.02), seconds=2.0)
    assert found.ripple == pytest.approx(0.05, rel=0.05)
    assert found.hz == pytest.approx(hz, abs=0.2)


def test_noise_of_the_idle_cell_is_taken_off(sampled):
    found = [measured(sampled(sine(0.02, 12.0), noise=6.0, seed=s), seconds=2.0) for s in range(20)]
    with_it = np.sqrt(0.02**2 + 2 * (6.0 / MEAN_NM) ** 2)
    assert with_it > 2 * 0.02
    assert np.mean([f.ripple for f in found]) == pytest.approx(0.02, rel=0.10)


def test_a_hum_that_is_there_at_idle_too_is_noise_of_the_cell(sampled):
    hum = lambda time: 6.0 * np.sin(2 * np.pi * 50.0 * time)  # noqa: E731
    found = measured(sampled(sine(0.0, 1.0), idle_wave=hum))
    assert found.ripple < 0.01
    assert measured(sampled(hum)).ripple > 1.0


def test_noise_stays_below_its_limit_as_often_as_stated(sampled):
    above, lines, total = 0, 0, 0
    for seed in range(25):
        run = sampled(sine(0.0, 1.0), noise=5.0, seed=seed, rate=200.0)
        noise = cell_noise(run)
        for start in range(4, 14):
            found = oscillation(run, window(run, start, 1.0), noise)
            above += found.ripple > found.limit
            lines += np.isfinite(found.hz)
            total += 1
    assert total == 250
    # Binomial: more than 7 of 250 at 1 % happens once in 200.
    assert above <= 7
    assert lines <= 7
    assert CONFIDENCE == 0.99


def test_without_an_idle_stretch_the_noise_stays_in(sampled):
    run = sampled(sine(0.05, 12.0), noise=4.0)
    bare = replace(run, idle=Idle(None, None))
    found = measured(bare, seconds=4.0)
    assert cell_noise(bare) is None
    assert found.ripple == pytest.approx(np.sqrt(0.05**2 + 2 * 0.02**2), rel=0.05)
    assert np.isnan(found.limit)
    assert found.hz == pytest.approx(12.0, abs=0.2)


def test_slow_changes_are_no_oscillation(sampled):
    def ramp(time):
        return 0.02 * (time - 5.0) + 0.05 * np.sin(2 * np.pi * 0.1 * time)

    found = measured(sampled(ramp, noise=0.1), seconds=10.0)
    assert found.ripple < 2e-3


@pytest.mark.parametrize("lost", ["scattered", "hole"])
def test_gaps(sampled, lost):
    run = sampled(sine(0.05, 12.0))
    frames = window(run, 4.0, 2.0)
    if lost == "scattered":
        kept = frames[np.random.default_rng(2).random(frames.size) > 0.3]
    else:
        kept = np.concatenate([frames[:150], frames[270:]])
    found = oscillation(run, kept, cell_noise(run))
    assert found.ripple == pytest.approx(0.05, rel=0.10)
    assert found.hz == pytest.approx(12.0, abs=0.2)


def test_too_few_frames_give_no_number(sampled):
    run = sampled(sine(0.05, 12.0))
    assert np.isnan(measured(run, seconds=0.03)).all()
    every_tenth = window(run, 4.0, 2.0)[::10]
    assert np.isnan(oscillation(run, every_tenth, cell_noise(run))).all()


def test_every_ratio_point_carries_it(sampled):
    run = sampled(sine(0.05, 12.0), seconds=25.0)
    drafts = ratio_drafts(run, steady_windows(run))
    assert len(drafts) > 1
    for draft in drafts:
        assert draft.oscillation.ripple == pytest.approx(0.05, rel=0.05)
        assert draft.stick_share == 0.0
        assert draft.reason == ""


def test_idle_at_either_end_counts(sampled):
    run = sampled(sine(0.05, 12.0))
    last = replace(run, idle=Idle(None, Stretch(0, round(IDLE_S / 0.005))))
    assert cell_noise(last) == cell_noise(run)


@pytest.mark.parametrize("r", [0.0, 0.6, 0.95])
def test_red_noise_shows_no_line(r):
    rng, found, n = np.random.default_rng(5), 0, 400
    for _ in range(n):
        noise = lfilter([1.0], [1.0, -r], rng.normal(size=(1, 400)))[:, 200:]
        noise -= noise.mean()
        found += find_line(noise, np.ones(noise.shape, bool), 0.01, lowest_hz=1.0) is not None
    # Binomial: more than 10 of 400 at the stated 1 % happens three times in a thousand.
    assert found <= 10
    assert FALSE_ALARM == 0.01


def test_a_line_in_red_noise_has_its_own_power_and_frequency():
    rng = np.random.default_rng(6)
    time = np.arange(400) * 0.01
    noise = lfilter([1.0], [1.0, -0.9], rng.normal(0.0, 0.3, (1, 600)))[:, 200:]
    line = find_line(noise + 1.5 * np.sin(2 * np.pi * 17.3 * time), np.ones((1, 400), bool), 0.01)
    assert line is not None
    assert line.hz == pytest.approx(17.3, abs=0.05)
    assert line.power == pytest.approx(1.5**2 / 2, rel=0.1)
