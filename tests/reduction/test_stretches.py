import itertools

import numpy as np

from rigdata.reduction.stretches import (
    Stretch,
    binned,
    bridge,
    intersect,
    legs,
    runs_of,
    smoothed,
    split_evenly,
    steady_stretches,
)


def test_runs_of_and_bridge():
    mask = np.array([0, 1, 1, 0, 1, 0, 0, 0, 1], dtype=bool)
    assert [(s.start, s.stop) for s in runs_of(mask)] == [(1, 3), (4, 5), (8, 9)]
    assert [(s.start, s.stop) for s in runs_of(bridge(mask, 1))] == [(1, 5), (8, 9)]


def test_two_load_levels_are_two_stretches_and_the_ramp_is_none():
    time = np.arange(0.0, 12.0, 0.02)
    load = np.interp(time, [0, 4, 5, 12], [5000, 5000, 9000, 9000])
    load += np.random.default_rng(1).normal(0, 20, time.size)
    found = steady_stretches(
        time, load, np.ones(time.size, bool), relative=0.05, cell_s=0.1, least_s=1.0
    )
    assert len(found) == 2
    assert abs(time[found[0].stop] - 4.0) < 0.3
    assert abs(time[found[1].start] - 5.0) < 0.3


def test_legs_of_a_sweep_up_and_down_with_noise():
    time = np.arange(0.0, 20.0, 0.02)
    ln_speed = np.interp(time, [0, 2, 10, 18, 20], [-6, -6, 0, -6, -6])
    noisy = ln_speed + np.random.default_rng(2).normal(0, 0.05, time.size)
    parts = legs(time, noisy, Stretch(0, time.size), threshold=0.29, cell_s=0.1)
    assert [p.direction for p in parts if time[p.stop - 1] - time[p.start] > 3] == ["up", "down"]
    up = next(p for p in parts if p.direction == "up")
    assert abs(time[up.stop] - 10.0) < 0.3
    assert parts[0].start == 0
    assert parts[-1].stop == time.size
    assert all(a.stop == b.start for a, b in itertools.pairwise(parts))


def test_a_staircase_is_a_leg_too():
    time = np.arange(0.0, 12.0, 0.02)
    steps = np.log(np.array([1.0, 2.0, 4.0, 8.0, 4.0, 2.0]))[(time // 2).astype(int)]
    parts = legs(time, steps, Stretch(0, time.size), threshold=0.29, cell_s=0.1)
    assert [p.direction for p in parts] == ["up", "down"]


def test_constant_is_one_leg_without_direction():
    time = np.arange(0.0, 5.0, 0.1)
    parts = legs(time, np.zeros(50), Stretch(0, 50), threshold=0.1, cell_s=0.1)
    assert [(p.start, p.stop, p.direction) for p in parts] == [(0, 50, "-")]


def test_bins_keep_every_frame_once():
    values = np.sin(np.linspace(0, 3, 200))
    found = binned(values, Stretch(20, 180, "up"), 0.25)
    frames = np.concatenate([frames for _, frames in found])
    assert sorted(frames) == list(range(20, 180))
    for _, inside in found:
        assert np.ptp(values[inside]) < 0.25


def test_split_and_intersect():
    time = np.arange(0.0, 25.0, 0.1)
    parts = split_evenly(time, Stretch(0, 250), 10.0)
    assert next(p.start for p in parts) == 0
    assert parts[-1].stop == 250
    assert len(parts) == 3
    both = intersect([Stretch(0, 10), Stretch(20, 30)], [Stretch(5, 25, "up")])
    assert [(b.start, b.stop, b.direction) for b in both] == [(5, 10, "up"), (20, 25, "up")]


def test_moving_mean_keeps_a_straight_line():
    line = np.arange(50.0)
    assert np.allclose(smoothed(line, 7)[3:-3], line[3:-3])
    assert smoothed(line, 1) is line
