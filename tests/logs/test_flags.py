"""Each flag with a planted fault and with a clean counterpart that must stay clean."""

import numpy as np
import pytest

from rigdata.logs.flags import (
    NOT_A_NUMBER,
    OVERRANGE,
    Flag,
    beyond_numbers,
    gaps,
    needed,
    outside,
    settled,
    smallest_step,
    stuck,
)
from rigdata.logs.judge import ColumnRequest, judged
from rigdata.logs.spikes import REACH, SpikesOnce, bridged, spikes

RATE = 1000.0
NOISE = 0.1


def noise(n=4000, seed=3):
    return np.random.default_rng(seed).normal(0.0, NOISE, n)


def times(n, rate=RATE):
    return np.arange(n) / rate


def found(values):
    return list(spikes(values, np.diff(values))[0])


def stuck_at(values, rate=RATE):
    marks = stuck(times(values.size, rate), np.diff(values))
    return [] if marks is None else list(np.flatnonzero(marks))


def test_every_flag_has_words_and_a_union_names_each():
    assert [flag.words for flag in Flag] == [
        "missing",
        "saturated",
        "spike",
        "stuck",
        "after a gap",
    ]
    assert (Flag.SPIKE | Flag.MISSING).words == "missing, spike"
    assert Flag(0).words == ""


# --- spikes


@pytest.mark.parametrize("size", [20.0, -3.0])
@pytest.mark.parametrize("level", [0.0, 250.0])
def test_a_single_sample_far_off_is_a_spike(size, level):
    values = noise() + level
    values[2000] += size
    assert found(values) == [2000]


def test_two_samples_far_off_are_a_spike():
    values = noise()
    values[2000] += 5.0
    values[2001] += 8.0
    assert found(values) == [2000, 2001]


def test_three_samples_far_off_are_no_spike():
    values = noise()
    values[2000:2003] += 5.0
    assert found(values) == []


def test_a_spike_on_a_steep_ramp_is_found():
    values = noise() + 0.2 * np.arange(4000)
    values[2000] += 6.0
    assert found(values) == [2000]


def test_spikes_stay_apart():
    values = noise()
    at = [500, 510, 1500, 3000]
    values[at] += 4.0
    assert found(values) == at


@pytest.mark.parametrize("lost", [[1999], [2001], [1999, 2001], [1998, 1999, 2001]])
def test_a_spike_beside_lost_samples_is_found(lost):
    values = noise()
    values[2000] += 9.0
    values[lost] = np.nan
    time, none = np.arange(4000) / 100.0, np.zeros(4000, bool)
    verdict = judged(time, values, none, ColumnRequest("T"), spikes)
    assert verdict.spikes.tolist() == [2000]
    assert verdict.flags[2000] == Flag.SPIKE.value
    assert (verdict.flags[lost] == Flag.MISSING.value).all()


@pytest.mark.parametrize("lost", [[1999], [2000], [1999, 2000], [2000, 2002]])
def test_a_step_beside_lost_samples_is_none(lost):
    values = noise()
    values[2000:] += 50.0
    values[lost] = np.nan
    time, none = np.arange(4000) / 100.0, np.zeros(4000, bool)
    assert judged(time, values, none, ColumnRequest("T"), spikes).spikes.size == 0


@pytest.mark.parametrize("values", [[1.0], [np.nan], [np.nan, 2.0], [1.0, np.nan, np.nan, np.nan]])
def test_samples_missing_by_the_dozen_stay_missing(values):
    values = np.array(values)
    whole = bridged(values)
    known = ~np.isnan(values)
    assert (whole[known] == values[known]).all()
    assert np.isnan(whole[:1]).all() == np.isnan(values[:1]).all()
    assert np.isnan(whole[3:]).all()


def test_white_noise_holds_no_spike():
    values = np.random.default_rng(11).normal(0.0, 1.0, 1_000_000)
    assert len(found(values)) <= 1  # one in a few tens of millions is expected


def test_a_step_is_no_spike():
    values = noise()
    values[2000:] += 50.0
    assert found(values) == []


def test_a_step_that_overshoots_by_one_sample_is_no_spike():
    values = noise()
    values[2000:] += 5.0
    values[2000] += 3.0
    assert found(values) == []


def test_a_breakaway_drop_is_no_spike():
    ramp = np.concatenate((np.linspace(0.0, 100.0, 2000), np.full(2000, 70.0)))
    assert found(ramp + noise()) == []
    dip = ramp.copy()
    dip[2000] = 55.0  # the drop overshoots and comes back in one sample
    assert found(dip + noise()) == []


@pytest.mark.parametrize("period", [8, 12, 25, 100, 400])
@pytest.mark.parametrize("spread", [0.0, NOISE])
def test_stick_slip_is_no_spike(period, spread):
    saw = 20.0 * (np.arange(4000) % period) / period
    assert found(saw + spread / NOISE * noise()) == []


@pytest.mark.parametrize("period", [3.1, 4.0, 5.3, 8.0, 40.0])
@pytest.mark.parametrize("spread", [0.0, NOISE])
def test_an_oscillation_is_no_spike(period, spread):
    wave = 20.0 * np.sin(2.0 * np.pi * np.arange(4000) / period)
    assert found(wave + spread / NOISE * noise()) == []


@pytest.mark.parametrize("period", [4.0, 6.0, 10.0])
def test_the_ringing_after_a_drop_is_no_spike(period):
    since = np.arange(4000) - 2000.0
    ring = np.where(
        since >= 0.0, 15.0 * np.exp(-since / 20.0) * np.cos(2 * np.pi * since / period), 0.0
    )
    assert found(np.where(since < 0, 100.0, 70.0) + ring + noise()) == []


def test_the_height_of_a_spike():
    values = np.zeros(400)
    values[200] = 3.0
    values[300:302] = -2.0, -5.0
    at, heights = spikes(values, np.diff(values))
    assert list(at) == [200, 300, 301]
    assert list(heights) == [3.0, 2.0, 2.0]


def test_a_spike_beside_a_missing_sample_is_left_alone():
    values = noise()
    values[2000] += 20.0
    values[2002] = np.nan
    assert found(values) == []


# --- stuck


def test_constant_for_a_second_is_stuck():
    values = noise()
    values[1000:2200] = values[1000]
    assert stuck_at(values) == list(range(1000, 2200))


def test_constant_for_less_than_a_second_is_not_stuck():
    values = noise()
    values[1000:1990] = values[1000]
    assert stuck_at(values) == []


def test_constant_for_seconds_but_few_samples_is_not_stuck():
    values = noise(400)
    values[100:149] = 1.0
    assert stuck_at(values, rate=10.0) == []
    values[100:150] = 1.0
    assert stuck_at(values, rate=10.0) == list(range(100, 150))


def test_missing_samples_are_not_stuck():
    values = noise()
    values[1000:3000] = np.nan
    assert stuck_at(values) == []


# --- gaps


def test_a_long_step_is_a_gap():
    time = times(1000)
    time[500:] += 0.004
    assert list(np.flatnonzero(gaps(time, 1e-3))) == [500]
    assert not gaps(time, 2e-3).any()


@pytest.mark.parametrize("at", [1, 2, 998, 999])
def test_a_gap_near_an_end_is_found(at):
    time = times(1000)
    time[at:] += 1.0
    assert list(np.flatnonzero(gaps(time, 1e-3))) == [at]


def test_two_gaps_in_a_row_are_found():
    time = times(1000)
    time[500:] += 1.0
    time[501:] += 1.0
    assert list(np.flatnonzero(gaps(time, 1e-3))) == [500, 501]


def test_a_change_of_rate_is_no_gap():
    time = np.concatenate((times(1000), 1.0 + np.arange(1, 200) / 50.0))
    assert not gaps(time, 1e-3).any()


def test_jitter_is_no_gap():
    jitter = np.random.default_rng(5).uniform(-0.4e-3, 0.4e-3, 5000)
    assert not gaps(times(5000) + jitter, 1e-3).any()


# --- range


def test_values_beyond_the_range_are_outside_and_the_limits_are_not():
    values = np.array([0.0, -0.1, 10.0, 10.1, np.nan])
    assert list(outside(values, 0.0, 10.0)) == [False, True, False, True, False]
    assert list(outside(values, None, 10.0)) == [False, False, False, True, False]
    assert outside(values, -1.0, 11.0) is None
    assert outside(values, None, None) is None


def test_infinities_and_the_sentinels_of_instruments():
    values = np.array([1.0, np.inf, -np.inf, OVERRANGE, NOT_A_NUMBER, np.nan])
    plain, over = beyond_numbers(values)
    assert list(over) == [False, True, True, True, False, False]
    assert list(np.isnan(plain)) == [False, True, True, True, True, True]


# --- neighbourhoods


@pytest.mark.parametrize("rate", [2.0, 60.0, 5000.0])
def test_the_neighbourhood_covers_a_second_and_the_samples_needed(rate):
    time = times(20_000, rate)
    stop = settled(time)
    assert time[-1] - time[stop - 1] > 1.0
    assert time.size - stop >= 53
    keep = needed(time, stop)
    assert time[stop] - time[keep] > 1.0
    assert stop - keep >= 53


def test_the_smallest_step():
    assert smallest_step(np.array([0.0, -0.5, np.nan, 0.25, 0.0])) == 0.25
    assert smallest_step(np.zeros(3)) == np.inf
    assert smallest_step(np.empty(0)) == np.inf


@pytest.mark.parametrize("stretch", [60, 173, 1000])
def test_spikes_of_overlapping_stretches_are_those_of_the_whole(stretch):
    rng = np.random.default_rng(stretch)
    values = np.round(rng.standard_t(1.5, 6000), 2)
    values[rng.integers(0, 6000, 30)] = np.nan
    whole = spikes(values, np.diff(values))
    assert whole[0].size > 20
    once, at, heights = SpikesOnce(), [], []
    start = done = 0
    while done < values.size:
        stop = min(values.size, max(done, start) + stretch)
        last = stop == values.size
        part = values[start:stop]
        found, height = once.within(start, part, np.diff(part), last=last)
        ready = stop if last else max(done, stop - REACH)
        new = (found + start >= done) & (found + start < ready)
        at += list(found[new] + start)
        heights += list(height[new])
        start, done = max(0, ready - int(rng.integers(REACH, 2 * REACH))), ready
    assert at == list(whole[0])
    assert heights == list(whole[1])
