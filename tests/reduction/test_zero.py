"""Idle ends and zeros of made-up runs, against what went into them."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.calibration.signals import Signal
from rigdata.errors import ReductionError
from rigdata.reduction.stretches import Stretch
from rigdata.reduction.zero import Zero, find_idle, idle_limit, read_zero, tare
from rigdata.uncertainty.effective_size import effective_size
from rigdata.uncertainty.sources import Effect, Scope, Source

SLOPE = Source("torque:T1:slope", Scope.RIG, Effect.PROPORTIONAL, "slope")
LEVEL = Source("torque:T1:level", Scope.RIG, Effect.ADDITIVE, "level")
STATED = Source("torque:direct", Scope.RIG, Effect.ADDITIVE, "stated")
POINT = Source("torque:R1:x", Scope.RUN, Effect.ADDITIVE, "of the run")

STEP = 0.02
TIME = np.arange(0.0, 20.0, STEP)


def run(load_from=3.0, speed_from=4.0, speed_to=15.0, load_to=16.0):
    rng = np.random.default_rng(5)
    load = 8000.0 * ((load_from <= TIME) & (load_to > TIME)) + rng.normal(0.0, 5.0, TIME.size)
    speed = 10.0 * ((speed_from <= TIME) & (speed_to > TIME)) + rng.normal(0.0, 1e-4, TIME.size)
    return load, speed


def idle(load, speed, limit=100.0, usable=None):
    good = np.ones(TIME.size, bool) if usable is None else usable
    return find_idle(TIME, load, speed, good, limit)


def test_idle_ends_a_tenth_of_a_second_before_the_load_comes():
    found = idle(*run())
    assert found.start.start == 0
    assert TIME[found.start.stop - 1] == pytest.approx(2.9, abs=2 * STEP)
    assert found.end.stop == TIME.size
    assert TIME[found.end.start] == pytest.approx(16.1, abs=2 * STEP)


def test_slip_ends_it_too():
    found = idle(*run(load_from=6.0, speed_from=2.0, load_to=12.0, speed_to=18.0))
    assert TIME[found.start.stop - 1] == pytest.approx(1.9, abs=2 * STEP)
    assert TIME[found.end.start] == pytest.approx(18.1, abs=2 * STEP)


def test_what_is_no_idle_end():
    assert idle(*run(load_from=0.3)).start is None  # shorter than half a second
    assert idle(*run(load_to=19.8, speed_to=19.0)).end is None
    load, speed = run()
    assert idle(load + 150.0, speed).start is None  # loaded from the start
    assert idle(load - 150.0, speed).start is None
    assert idle(load + 90.0, speed).start is not None  # the zero of the cell itself
    assert idle(load, speed + 0.02).start is None  # slips from the start
    assert idle(load, speed + 0.004).start is not None  # the offset of a pickup


@pytest.mark.parametrize("speed_from", [0.1, 0.2, 0.3, 0.45])
def test_slip_that_comes_at_once_is_no_noise(speed_from):
    assert idle(*run(speed_from=speed_from)).start is None
    load, speed = run(speed_from=speed_from, load_from=99.0, speed_to=99.0)
    assert idle(load, speed).start is None


def test_an_unquiet_pickup_is_no_slip():
    load, speed = run()
    noise = np.random.default_rng(6).normal(0.0, 0.4, TIME.size)
    found = idle(load, speed + noise)
    assert TIME[found.start.stop - 1] == pytest.approx(2.9, abs=2 * STEP)
    assert TIME[found.end.start] == pytest.approx(16.1, abs=2 * STEP)


def start_of(load, speed=0.0, *, step=STEP, limit=100.0, top=10.0):
    """How long a log that starts at 100 s is idle, by its load and speed over time; 0 if never.

    Its last tenth is at work.
    """
    time = np.arange(0.0, 20.0, step)
    work = time > 18.0
    load, speed = (np.broadcast_to(values(time), time.shape) for values in (load, at(speed)))
    load, speed = np.where(work, 8000.0, load), np.where(work, top, speed)
    found = find_idle(100.0 + time, load, speed, np.ones(time.size, bool), limit)
    return found.start.stop * step if found.start else 0.0


def at(value, since=0.0, swing=0.0):
    """A reading that is 0, then a value, and jumps from sample to sample on either side of it."""

    def values(time):
        return np.where(time >= since - 1e-9, value, 0.0) + np.resize([swing, -swing], time.size)

    return value if callable(value) else values


def test_idle_lasts_half_a_second_at_least():
    assert start_of(at(500.0, since=0.64)) == pytest.approx(0.54, abs=STEP)
    assert start_of(at(500.0, since=0.58)) == 0.0


def test_it_ends_a_tenth_of_a_second_before_it_shows():
    assert start_of(at(500.0, since=3.0), step=0.005) == pytest.approx(2.9, abs=0.006)


def test_the_first_half_second_says_what_idle_looks_like():
    """Half of what a zero may be, within that time, is taken for the noise of the cell."""
    assert start_of(at(50.0, since=0.3)) == pytest.approx(17.9, abs=0.1)
    assert start_of(at(50.0, since=0.7)) == pytest.approx(0.6, abs=1.5 * STEP)


@pytest.mark.parametrize(
    ("step", "since", "taken"),
    [(0.25, 2.5, True), (0.25, 2.75, False), (0.2, 2.2, True), (0.2, 2.4, False)],
)
def test_a_slow_log_shows_it_by_twelve_frames_within_two_and_a_half_seconds(step, since, taken):
    length = start_of(at(50.0, since=since), step=step)
    assert length == pytest.approx(17.9 if taken else since - 0.1, abs=0.4)


@pytest.mark.parametrize(("load", "idle"), [(9.5, True), (10.5, False)])
def test_a_quiet_load_may_creep_by_a_tenth_of_the_limit(load, idle):
    assert start_of(at(load, since=3.0)) == pytest.approx(17.9 if idle else 2.9, abs=0.1)


@pytest.mark.parametrize(("load", "idle"), [(22.5, True), (26.5, False)])
def test_an_unquiet_load_may_leave_its_level_by_six_standard_deviations(load, idle):
    # 26 readings of 4 and -4 N: 4.08 N, six times that 24.5 N

    def values(time):
        return np.where(time < 3.0, at(0.0, swing=4.0)(time), load)

    assert start_of(values) == pytest.approx(17.9 if idle else 2.9, abs=0.1)


@pytest.mark.parametrize(
    ("offset", "top", "idle"),
    [(0.0095, 10.0, True), (0.0105, 10.0, False), (0.0047, 2.0, True), (0.0053, 2.0, False)],
)
def test_a_pickup_may_be_off_by_a_thousandth_of_the_top_or_by_a_creep(offset, top, idle):
    assert (start_of(at(0.0), offset, top=top) > 0.0) is idle


@pytest.mark.parametrize(("offset", "idle"), [(0.47, True), (0.55, False)])
def test_or_by_five_standard_deviations_of_its_noise(offset, idle):
    # 26 readings of 0.1 and -0.1 rad/s: 0.102, five times that 0.51
    assert (start_of(at(0.0), at(offset, swing=0.1)) > 0.0) is idle


@pytest.mark.parametrize(("speed", "idle"), [(0.56, True), (0.65, False)])
def test_later_it_may_leave_that_by_six(speed, idle):
    def values(time):
        return np.where(time < 3.0, at(0.0, swing=0.1)(time), speed)

    assert start_of(at(0.0), values) == pytest.approx(17.9 if idle else 2.9, abs=0.1)


@pytest.mark.parametrize(("speed", "idle"), [(0.475, True), (0.525, False)])
def test_a_step_within_the_first_half_second_is_slip_over_a_twentieth_of_the_top(speed, idle):
    assert (start_of(at(0.0), at(speed, since=0.3)) > 0.0) is idle


@pytest.mark.parametrize(("speed", "idle"), [(1.3, True), (1.55, False)])
def test_or_over_six_times_what_readings_jump_by(speed, idle):
    # jumps of 0.2 rad/s: 1.4826 * 0.2 / sqrt(2) = 0.21, six times that 1.258, from 0.1; both
    # of a pair of readings must be beyond
    assert (start_of(at(0.0), at(speed, since=0.3, swing=0.1)) > 0.0) is idle


@pytest.mark.parametrize(("spike", "kept"), [(14.0, True), (15.5, False)])
def test_a_reading_ten_spreads_off_is_no_zero(spike, kept):
    # half of them 1 or more from the median: a spread of 1.4826
    values = 50.0 + np.array([*[-1.0, 1.0] * 20, 0.0, -1.0, spike])
    zero = read_zero(signal(values), TIME[:43], np.ones(43, bool), [Stretch(0, 43)])
    assert zero.value[0] == pytest.approx(50.0 + ((spike - 1.0) / 43 if kept else -1.0 / 42))


def test_one_stray_sample_does_not_end_it():
    load, speed = run()
    load[50] = 5000.0
    assert TIME[idle(load, speed).start.stop - 1] == pytest.approx(2.9, abs=2 * STEP)
    load[51] = 5000.0
    assert TIME[idle(load, speed).start.stop - 1] == pytest.approx(0.9, abs=2 * STEP)


def test_a_creeping_load_ends_it_at_a_tenth_of_the_limit():
    rng = np.random.default_rng(6)
    load = np.clip((TIME - 2.0) * 10.0, 0.0, 8000.0) + rng.normal(0.0, 0.1, TIME.size)
    found = idle(load, np.zeros(TIME.size), limit=100.0)
    # 10 N/s from 2 s on passes 10 N after one second more
    assert TIME[found.start.stop - 1] == pytest.approx(2.9, abs=0.1)


def test_slow_logs_take_a_few_more_frames():
    time = np.arange(0.0, 40.0, 0.2)
    load = 8000.0 * (time >= 5.0) + np.random.default_rng(7).normal(0.0, 5.0, time.size)
    found = find_idle(time, load, np.zeros(time.size), np.ones(time.size, bool), 100.0)
    assert time[found.start.stop - 1] == pytest.approx(4.8, abs=0.21)


def test_limit_is_a_share_of_the_load_or_of_the_record():
    load = Signal(
        "clamp_load", np.full(1000, -8000.0), np.ones(1000, bool), (), np.zeros((0, 1000))
    )
    assert idle_limit(load, None) == pytest.approx(400.0)
    record = SimpleNamespace(
        applied_unit="kN", path="cell.toml", applied=np.array([0.0, -25.0, 50.0])
    )
    assert idle_limit(load, SimpleNamespace(calibration=record)) == pytest.approx(500.0)
    record.applied = np.array([0.0, 20.0])
    assert idle_limit(load, SimpleNamespace(calibration=record)) == pytest.approx(400.0)


def signal(values, sources=(), sensitivity=None):
    count = np.size(values)
    rows = np.zeros((len(sources), count)) if sensitivity is None else sensitivity
    return Signal("torque", values, np.ones(count, bool), sources, rows)


def test_a_zero_is_the_mean_of_each_end_and_its_noise():
    rng = np.random.default_rng(8)
    noise = rng.normal(0.0, 0.3, TIME.size)
    values = np.where(TIME < 10.0, 2.0, 3.0) + noise
    rows = np.stack([0.01 * values, np.full(TIME.size, 0.2)])
    usable = np.ones(TIME.size, bool)
    usable[::7] = False
    ends = [Stretch(0, 200), Stretch(800, 1000)]
    zero = read_zero(signal(values, (SLOPE, LEVEL), rows), TIME, usable, ends)
    for i, end in enumerate(ends):
        frames = [f for f in range(end.start, end.stop) if f % 7]
        assert zero.value[i] == pytest.approx(np.mean(values[frames]), rel=1e-12)
        assert zero.time_s[i] == pytest.approx(np.mean(TIME[frames]), rel=1e-12)
        assert zero.shift[:, i] == pytest.approx(rows[:, frames].mean(axis=1), rel=1e-12)
    # white noise: s / sqrt(n) of some 171 frames
    assert zero.u == pytest.approx(0.3 / math.sqrt(171), rel=0.2)
    assert zero.dof == pytest.approx(170.0, rel=0.2)
    assert zero.drift == pytest.approx(zero.value[1] - zero.value[0])


def test_an_end_with_one_good_reading_is_none():
    usable = np.zeros(TIME.size, bool)
    usable[[3, 900, 910, 920]] = True
    ends = [Stretch(0, 200), Stretch(800, 1000)]
    assert read_zero(signal(TIME), TIME, usable, ends).value == pytest.approx([TIME[910]])
    with pytest.raises(ReductionError, match="no good reading of torque"):
        read_zero(signal(TIME), TIME, usable, ends[:1])


def test_a_zero_that_wanders_is_worth_few_readings():
    zero = read_zero(signal(TIME), TIME, np.ones(TIME.size, bool), [Stretch(0, 100)])
    worth = effective_size(TIME[:100]).n_effective
    assert 2.0 < worth < 3.0
    # a straight line of 100 readings, 0.02 apart: sqrt(sum d^2 / (n (worth - 1)))
    spread = STEP * math.sqrt((100**2 - 1) / 12)
    assert zero.u == pytest.approx(spread / math.sqrt(worth - 1.0), rel=1e-9)
    assert zero.dof == pytest.approx(worth - 1.0)


def test_tare_takes_a_line_between_both_ends():
    zero = Zero(
        time_s=np.array([2.0, 18.0]),
        value=np.array([1.0, 2.6]),
        u=0.05,
        dof=40.0,
        shift=np.array([[0.010, 0.026], [0.2, 0.2], [0.3, 0.3], [0.4, 0.4]]),
    )
    values = np.full(TIME.size, 101.0)
    rows = np.stack([0.01 * values, *(np.full(TIME.size, s) for s in (0.2, 0.3, 0.4))])
    found = tare(signal(values, (SLOPE, LEVEL, STATED, POINT), rows), TIME, zero, "R7", "R1")
    line = np.clip(1.0 + 0.1 * (TIME - 2.0), 1.0, 2.6)
    assert found.values == pytest.approx(101.0 - line)
    # along the curve: a slope acts on the difference and a level cancels
    assert found.sensitivity[0] == pytest.approx(1.01 - 0.01 * line)
    assert found.sensitivity[1] == pytest.approx(np.zeros(TIME.size), abs=1e-15)
    # what is stated for a reading, and what belongs to the run, stays
    assert found.sensitivity[2] == pytest.approx(np.full(TIME.size, 0.3))
    assert found.sensitivity[3] == pytest.approx(np.full(TIME.size, 0.4))
    assert found.sensitivity[4] == pytest.approx(np.full(TIME.size, 0.05))
    # rectangular about the line: 1.6 / sqrt(12)
    assert found.sensitivity[5] == pytest.approx(np.full(TIME.size, 0.46188), rel=1e-5)
    assert [s.id for s in found.sources[4:]] == ["zero:R1", "zero-drift:R7"]
    assert found.sources[4].dof == 40.0


def test_a_zero_read_once_has_no_drift():
    zero = Zero(np.array([2.0]), np.array([1.5]), 0.05, 40.0, np.zeros((0, 1)))
    found = tare(signal(np.full(TIME.size, 4.0)), TIME, zero, "R7", "R1")
    assert found.values == pytest.approx(np.full(TIME.size, 2.5))
    assert [s.id for s in found.sources] == ["zero:R1"]
