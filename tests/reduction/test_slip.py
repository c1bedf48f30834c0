"""Slip speed that swings, and plates that stick."""

import math

import numpy as np
import pytest

from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.slip import find_slip, stick_reason
from rigdata.reduction.windows import speed_bins, steady_windows

STEP = 0.005
TIME = np.arange(0.0, 20.0, STEP)
ALL = np.ones(TIME.size, bool)
INNER = slice(300, -300)


def noisy(speed, sd=0.003, seed=1):
    return speed + np.random.default_rng(seed).normal(0.0, sd, TIME.size)


def sticking(hz, speed=1.0, still=0.5):
    """Standstill for a share of each cycle, a slip in the rest; the mean is `speed`."""
    phase = (TIME * hz) % 1.0
    slip = np.maximum(phase - still, 0.0) / (1.0 - still)
    return speed * (np.pi / 2) / (1.0 - still) * np.sin(np.pi * slip) * (phase >= still)


@pytest.mark.parametrize("hz", [2.0, 5.0, 12.0])
def test_sticking_plates_are_cut_by_the_speed_of_their_drive(hz):
    slip = find_slip(STEP, noisy(sticking(hz)), ALL, rest=0.01)
    assert slip.swings[INNER].all()
    assert slip.speed[INNER] == pytest.approx(1.0, rel=0.1)
    assert slip.stuck[INNER].mean() == pytest.approx(0.5, abs=0.03)


def test_a_swing_that_never_stands_still_is_no_stick():
    slip = find_slip(STEP, noisy(1.0 + 0.6 * np.sin(2 * np.pi * 8.0 * TIME)), ALL, rest=0.01)
    assert slip.swings[INNER].all()
    assert not slip.stuck.any()


@pytest.mark.parametrize(
    "speed",
    [
        np.full(TIME.size, 1.0),
        0.05 * 30 ** (TIME / 20.0),
        np.where(TIME < 10.0, 0.2, 1.5),
        np.interp(TIME % 5.0, [0.0, 0.3, 3.0, 3.3, 5.0], [0.0, 1.0, 1.0, 0.0, 0.0]),
        np.zeros(TIME.size),
        np.interp(TIME, [0.0, 2.0, 2.5, 20.0], [0.0, 0.0, 0.02, 0.02]),
    ],
    ids=["held", "ramp", "step", "engagements", "standstill", "creep in the noise"],
)
def test_what_a_bench_does_on_purpose_is_left_alone(speed):
    shown = noisy(speed)
    slip = find_slip(STEP, shown, ALL, rest=0.012)
    assert not slip.swings.any()
    np.testing.assert_array_equal(slip.speed, np.abs(shown))


def test_winding_up_and_stopping_are_no_stick():
    """Still before the first slip and after the last, in between sticking."""
    inside = (TIME > 5.0) & (TIME < 15.0)
    slip = find_slip(STEP, noisy(np.where(inside, sticking(5.0), 0.0)), ALL, rest=0.01)
    assert not slip.stuck[~inside].any()
    assert slip.stuck[inside].mean() == pytest.approx(0.5, abs=0.05)


def test_only_a_pressed_pack_sticks():
    shown = noisy(sticking(5.0))
    assert not find_slip(STEP, shown, ~ALL, rest=0.01).swings.any()


@pytest.mark.parametrize(("rms", "swings"), [(0.14, False), (0.16, True)])
def test_a_swing_is_wider_than_15_percent_of_the_mean(rms, swings):
    speed = 1.0 + rms * math.sqrt(2.0) * np.sin(2 * np.pi * 8.0 * TIME)
    assert np.all(find_slip(STEP, speed, ALL, rest=0.01).swings[INNER] == swings)


@pytest.mark.parametrize(("hz", "swings"), [(0.9, False), (1.6, True)])
def test_a_swing_turns_three_times_in_a_second(hz, swings):
    speed = 1.0 + 0.6 * np.sin(2 * np.pi * hz * TIME)
    assert np.all(find_slip(STEP, speed, ALL, rest=0.01).swings[INNER] == swings)


@pytest.mark.parametrize(("frames", "swings"), [((100, 100), True), ((100, 101), False)])
def test_three_turns_count_within_one_second(frames, swings):
    """A square wave whose third turn comes 1 s after the first, or one frame later."""
    speed = np.resize(np.repeat([1.5, 0.5], frames), TIME.size)
    assert find_slip(STEP, speed, ALL, rest=0.01).swings.any() == swings


@pytest.mark.parametrize(("frames", "swings"), [(7, False), (9, True)])
def test_a_turn_goes_beyond_three_tenths_of_the_swing(frames, swings):
    """Jerks in a share `s` of the time leave the rest below the mean by sqrt(s / (1 - s)) rms."""
    share = frames / 100
    assert (math.sqrt(share / (1 - share)) > 0.3) == swings
    speed = np.resize(np.repeat([3.0, 1.0], [frames, 100 - frames]), TIME.size)
    assert np.all(find_slip(STEP, speed, ALL, rest=0.01).swings[INNER] == swings)


def test_speed_that_swings_is_its_mean_over_half_a_second_on_either_side():
    speed = 1.0 + 0.6 * np.sin(2 * np.pi * 2.5 * TIME)
    slip = find_slip(STEP, speed, ALL, rest=0.01)
    some = slice(1000, 1100)
    near = np.abs(TIME - TIME[some, None]) < 0.5 + STEP / 2
    assert slip.speed[some] == pytest.approx(near @ speed / near.sum(axis=1))


def held(make_run, speed, torque=500.0):
    start = TIME < 2.0
    load = np.where(start, 0.0, 8e3)
    return make_run(
        TIME,
        noisy(np.where(start, 0.0, torque), sd=2.0, seed=2),
        load,
        noisy(np.where(start, 0.0, speed)),
        idle_s=1.9,
    )


def test_windows_of_a_sticking_run_are_kept_whole_and_not_used(make_run):
    run = held(make_run, sticking(4.0))
    drafts = ratio_drafts(run, steady_windows(run))
    assert sum(draft.end_s - draft.start_s for draft in drafts) > 14.0
    for draft in drafts:
        assert draft.stick_share == pytest.approx(0.5, abs=0.05)
        assert draft.slip_speed_m_s == pytest.approx(run.geometry.radius_m, rel=0.1)
        assert "sticks and slips: at standstill for" in draft.reason


def test_a_sweep_keeps_its_bins_where_it_sticks(make_run):
    """Bins of a sweep that sticks at its slow end are those of the drive's sweep."""
    drive = 0.1 * 50 ** ((TIME - 2.0) / 18.0)
    swings = np.where(drive < 1.0, sticking(8.0) - 1.0, 0.0)
    run = held(make_run, drive * (1.0 + swings))
    drafts = ratio_drafts(run, speed_bins(run))
    speeds = np.array([draft.slip_speed_m_s for draft in drafts]) / run.geometry.radius_m
    slow, used = speeds < 0.9, np.array([not draft.reason for draft in drafts])
    assert not used[slow].any()
    assert used[speeds > 1.2].all()
    assert np.diff(np.log(speeds)) == pytest.approx(np.log(10) / 8, abs=0.12)


def test_the_share_that_makes_a_stick():
    assert stick_reason(0.049) == stick_reason(float("nan")) == ""
    assert stick_reason(0.051)
    assert stick_reason(0.34).endswith("34 % of the time")
