"""Several rates in one log: slower channels with blank cells between their samples."""

import numpy as np
import pytest

from rigdata.logs.flags import Flag
from rigdata.logs.frames import ColumnRequest
from rigdata.logs.survey import sparse_period

RATE = 1000.0
N = 20_000


def temperature(time):
    return 60.0 + 5.0 * np.sin(0.3 * time)


def table(every=100, offset=0, n=N, seed=2):
    """A torque in every row and a temperature in every `every`-th."""
    rng = np.random.default_rng(seed)
    time = np.arange(n) / RATE
    torque = 50.0 + rng.normal(0.0, 0.2, n)
    oil = np.full(n, np.nan)
    oil[offset::every] = temperature(time[offset::every])
    return time, torque, oil


def text(time, torque, oil, blank=""):
    def cell(value):
        return blank if np.isnan(value) else f"{value:.4f}"

    rows = zip(time, torque, oil, strict=True)
    return "Time,Torque,Oil\n" + "".join(f"{t:.4f},{cell(a)},{cell(b)}\n" for t, a, b in rows)


BOTH = {"torque": "Torque", "oil": ColumnRequest("Oil", may_stick=True)}


@pytest.mark.parametrize("offset", [0, 1])
@pytest.mark.parametrize("blank", ["", "NaN", "--"])
@pytest.mark.parametrize("every", [2, 7, 100, 1500])
def test_a_slower_channel_is_interpolated_onto_the_frames(read, every, blank, offset):
    time, torque, oil = table(every, offset)
    frames = read(text(time, torque, oil, blank), BOTH)
    assert frames.periods["oil"] == pytest.approx(every / RATE)
    assert frames.periods["torque"] == frames.sample_s == pytest.approx(1 / RATE)
    last = time[~np.isnan(oil)][-1]
    inside = frames.time_s <= last
    # Linear between samples: the error is at most f'' period^2 / 8.
    reach = 5.0 * 0.3**2 * (every / RATE) ** 2 / 8.0 + 1e-3
    np.testing.assert_allclose(
        frames.values["oil"][inside], temperature(frames.time_s[inside]), atol=reach
    )
    assert not frames.flags["oil"][inside].any()
    assert (frames.flags["oil"][~inside] == Flag.MISSING).sum() <= every / 5 + 1
    assert not frames.flags["torque"].any()
    assert frames.counts["oil"] == {}


def test_before_the_first_sample_there_is_no_value(read):
    time, torque, oil = table(1000, offset=500)
    frames = read(text(time, torque, oil), BOTH)
    early = frames.time_s < 0.5
    assert np.isnan(frames.values["oil"][early]).all()
    assert (frames.flags["oil"][early] == Flag.MISSING).all()
    assert not frames.flags["oil"][frames.time_s.searchsorted(0.5) : 3000].any()


@pytest.mark.parametrize("every", [2, 100])
def test_a_hole_of_more_than_two_and_a_half_periods_is_missing(read, every):
    time, torque, oil = table(every)
    filled = np.flatnonzero(~np.isnan(oil))
    middle = filled.size // 2
    one, two = oil.copy(), oil.copy()
    one[filled[middle]] = np.nan
    two[filled[middle : middle + 40]] = np.nan
    assert read(text(time, torque, one), BOTH).counts["oil"] == {}
    frames = read(text(time, torque, two), BOTH)
    assert frames.counts["oil"] == {Flag.MISSING: 40}
    start, stop = time[filled[middle - 1]], time[filled[middle + 40]]
    hole = (frames.time_s > start + 0.005) & (frames.time_s < stop - 0.005)
    around = (frames.time_s > start - 0.005) & (frames.time_s < stop + 0.005)
    assert hole.sum() > 5
    assert (frames.flags["oil"][hole] == Flag.MISSING).all()
    assert np.isnan(frames.values["oil"][hole]).all()
    assert not frames.flags["oil"][~around][:3000].any()


def test_a_slow_log_with_a_slower_channel(read):
    time = np.arange(400) * 0.5
    oil = np.full(400, np.nan)
    oil[::4] = temperature(time[::4])
    frames = read(text(time, np.sin(time), oil), BOTH)
    assert frames.periods["oil"] == pytest.approx(2.0)
    expected = np.interp(time[:397], time[::4], np.round(oil[::4], 4))
    np.testing.assert_allclose(frames.values["oil"][:397], expected, rtol=1e-12)


def test_rows_of_two_clocks_merged_into_one(read):
    """Each channel is blank in the rows of the other, and neither is missing."""
    fast = np.arange(10_000) / RATE
    slow = 0.00037 + np.arange(1000) / 100.0
    time = np.concatenate((fast, slow))
    order = np.argsort(time)
    rng = np.random.default_rng(3)
    torque = np.concatenate((50.0 + rng.normal(0.0, 0.2, fast.size), np.full(slow.size, np.nan)))
    oil = np.concatenate((np.full(fast.size, np.nan), temperature(slow)))
    frames = read(text(time[order], torque[order], oil[order]).replace(".4f", ".5f"), BOTH)
    assert frames.periods["torque"] == pytest.approx(1e-3)
    assert frames.periods["oil"] == pytest.approx(1e-2)
    middle = slice(2, -3)
    assert not frames.flags["torque"][middle].any()
    assert not frames.flags["oil"][middle].any()
    assert np.isfinite(frames.values["torque"][middle]).all()
    assert frames.counts["torque"] == {}


def test_blank_cells_of_a_full_channel_are_missing(read):
    time, torque, oil = table()
    torque[np.random.default_rng(8).random(N) < 0.05] = np.nan
    frames = read(text(time, torque, oil), BOTH)
    assert frames.counts["torque"] == {Flag.MISSING: int(np.isnan(torque).sum())}
    assert frames.periods["torque"] == frames.sample_s


def test_a_fault_in_a_slow_channel_marks_the_frames_about_it(read):
    time, torque, oil = table(100)
    oil[10_000] = 500.0
    ranged = {"oil": ColumnRequest("Oil", high=200.0, may_stick=True)}
    frames = read(text(time, torque, oil), ranged)
    assert frames.counts["oil"][Flag.SATURATED] == 1
    marked = frames.time_s[(frames.flags["oil"] & Flag.SATURATED) > 0]
    assert marked[0] == pytest.approx(9.9, abs=0.011)
    assert marked[-1] == pytest.approx(10.1, abs=0.011)
    assert np.nanmax(frames.values["oil"]) < 66.0


def test_a_slow_channel_stuck_and_unstuck(read):
    time, torque, oil = table(20)
    oil[(time > 5.0) & ~np.isnan(oil) & (time < 9.0)] = 61.25
    frames = read(text(time, torque, oil), {"oil": "Oil"})
    marked = frames.time_s[frames.flags["oil"] == Flag.STUCK]
    assert marked[0] == pytest.approx(5.02, abs=0.011)
    assert marked[-1] == pytest.approx(8.98, abs=0.011)
    assert marked.size == pytest.approx(3.96 / 0.005, abs=3)


@pytest.mark.parametrize("block_bytes", [5000, 65_536])
def test_the_size_of_the_blocks_changes_nothing(read, write, block_bytes):
    time, torque, oil = table(60)
    oil[6000:6600] = np.nan
    oil[9000] = 300.0
    path = write(text(time, torque, oil))
    whole, parts = read(path, BOTH), read(path, BOTH, block_bytes=block_bytes)
    for key in BOTH:
        np.testing.assert_array_equal(parts.values[key], whole.values[key])
        np.testing.assert_array_equal(parts.flags[key], whole.flags[key])
        assert dict(parts.counts[key]) == dict(whole.counts[key])


def test_a_part_of_the_log_sees_the_samples_beyond_it(read):
    time, torque, oil = table(1000)
    frames = read(text(time, torque, oil), BOTH, start_s=2.3, end_s=6.7)
    assert not frames.flags["oil"].any()
    np.testing.assert_allclose(frames.values["oil"], temperature(frames.time_s), atol=0.06)


def test_the_period_of_a_sparse_channel():
    time = np.arange(1000.0)
    values = np.full(1000, np.nan)
    assert sparse_period(time, values) is None
    values[::10] = 1.0
    assert sparse_period(time, values) == 10.0
    values[:] = 1.0
    assert sparse_period(time, values) is None
    values[np.random.default_rng(1).random(1000) < 0.4] = np.nan
    assert sparse_period(time, values) is None
