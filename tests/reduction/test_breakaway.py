import math

import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.reduction.breakaway import breakaway_drafts
from rigdata.uncertainty.effective_size import effective_size

TIME = np.arange(4000) / 1000


def stick_and_slip(make_run, *, noise=0.0, seed=0, sign=1.0, slips=True):
    """Two dwells under load; the torque ramps to a peak and drops as the plates slip."""
    rate, load, mu_s, mu_k = 500.0, 8e3, 0.15, 0.13
    time = np.arange(0.0, 20.0, 1 / rate)
    probe = make_run(time, 0.0, load, 0.0)
    per_mu = probe.geometry.faces * probe.geometry.radius_m * load
    torque, speed, pressed = (np.zeros(time.size) for _ in range(3))
    for start, dwell in ((2.0, 2.0), (10.0, 5.0)):
        under_load = (time >= start) & (time < start + dwell + 2)
        pressed[under_load] = load
        rising = (time >= start + dwell - 1) & (time < start + dwell)
        torque[rising] = mu_s * per_mu * (time[rising] - (start + dwell - 1))
        after = (time >= start + dwell) & under_load
        torque[after] = mu_k * per_mu
        if slips:
            speed[after] = 0.3
    rng = np.random.default_rng(seed)
    torque = sign * (torque + rng.normal(0, noise * per_mu, time.size))
    speed = sign * speed + rng.normal(0, 1e-3, time.size)
    return make_run(time, torque, pressed, speed, procedure="breakaway", idle_s=1.9)


def test_peak_and_dwell(make_run):
    drafts = breakaway_drafts(stick_and_slip(make_run))
    assert [round(d.dwell_s, 1) for d in drafts] == [2.0, 5.0]
    for draft in drafts:
        assert draft.mu == pytest.approx(0.15, rel=3e-3)
        assert draft.slip_speed_m_s == 0.0
        assert draft.kind == "static"


def test_other_way_round(make_run):
    drafts = breakaway_drafts(stick_and_slip(make_run, sign=-1.0))
    assert [d.mu for d in drafts] == pytest.approx([0.15, 0.15], rel=3e-3)


def test_noise_does_not_raise_the_peak(make_run):
    found, stated = [], []
    for seed in range(60):
        for draft in breakaway_drafts(stick_and_slip(make_run, noise=5e-4, seed=seed)):
            found.append(draft.mu)
            stated.append(draft.u_random)
    assert len(found) == 120
    # The last sample before slip is at 0.1497; the largest alone would stand 1 to 3 sigma
    # (0.0005 to 0.0015) higher.
    assert np.mean(found) == pytest.approx(0.1497, abs=2.5e-4)
    assert np.std(found) == pytest.approx(np.mean(stated), rel=0.35)


def test_no_slip_no_point(make_run):
    assert breakaway_drafts(stick_and_slip(make_run, slips=False)) == []


def drafts_of(make_run, *, torque=None, load=None, speed=None):
    """Pressed by 8 kN from 1 s on, and slipping from 2 s on, while the torque rises slowly."""
    torque = 300.0 + 10.0 * TIME if torque is None else torque
    load = 8e3 * (TIME >= 1.0) if load is None else load
    speed = 0.3 * (TIME >= 2.0) if speed is None else speed
    return breakaway_drafts(make_run(TIME, torque, load, speed, procedure="breakaway", idle_s=0.9))


@pytest.mark.parametrize(("dwell", "points"), [(0.28, 0), (0.32, 1)])
def test_a_dwell_is_three_tenths_of_a_second_at_least(make_run, dwell, points):
    assert len(drafts_of(make_run, load=8e3 * (TIME + dwell >= 2.0))) == points


@pytest.mark.parametrize(("before", "peak"), [(0.48, 1.519), (0.52, 2.018)])
def test_the_peak_lies_within_half_a_second_before_the_onset(make_run, before, peak):
    torque = 300.0 + 10.0 * TIME
    torque[1999 - round(1000 * before)] += 100.0
    (draft,) = drafts_of(make_run, torque=torque)
    assert draft.end_s == pytest.approx(peak, abs=1.5e-3)


def test_the_peak_is_read_off_60_ms_up_to_20_ms_after_the_onset(make_run):
    (draft,) = drafts_of(make_run)
    assert draft.end_s == pytest.approx(1.999 + 0.02 - 5e-4, abs=6e-4)
    assert draft.end_s - draft.start_s == pytest.approx(0.06, abs=1.5e-3)


@pytest.mark.parametrize(("jerk", "dwell"), [(19, 0.999), (21, 0.778)])
def test_a_jerk_of_20_ms_ends_no_dwell(make_run, jerk, dwell):
    speed = 0.3 * (TIME >= 2.0)
    speed[1200 : 1200 + jerk] = 0.3
    (draft,) = drafts_of(make_run, speed=speed)
    assert draft.dwell_s == pytest.approx(dwell)


@pytest.mark.parametrize(("times", "points"), [(1.9, 0), (2.1, 1)])
def test_slip_is_faster_than_twice_the_noise_at_rest(make_run, times, points):
    speed = 0.01 * np.where(TIME < 2.0, 1.0, times)
    assert len(drafts_of(make_run, speed=speed)) == points


@pytest.mark.parametrize(("share", "dwell"), [(0.0095, 0.999), (0.0105, 0.499)])
def test_winding_up_is_slower_than_one_percent_of_the_slip(make_run, share, dwell):
    speed = 0.3 * np.select([TIME < 1.5, TIME < 2.0], [0.0, share], 1.0)
    (draft,) = drafts_of(make_run, speed=speed)
    assert draft.dwell_s == pytest.approx(dwell)


@pytest.mark.parametrize(("share", "dwell"), [(0.48, 0.499), (0.52, 0.999)])
def test_the_dwell_begins_at_half_the_load(make_run, share, dwell):
    load = 8e3 * np.select([TIME < 1.0, TIME < 1.5], [0.0, share], 1.0)
    (draft,) = drafts_of(make_run, load=load)
    assert draft.dwell_s == pytest.approx(dwell)


@pytest.mark.parametrize(("held", "points"), [(0.048, 0), (0.052, 1)])
def test_the_load_stays_on_for_50_ms_of_slip(make_run, held, points):
    load = 8e3 * ((TIME >= 1.0) & (TIME - held < 2.0))
    assert len(drafts_of(make_run, load=load)) == points


def test_value_and_uncertainty_are_those_of_a_parabola_read_at_the_peak(make_run):
    rise = np.where(TIME < 2.0, 400.0 * (TIME - 1.0), 300.0)
    noise = lfilter([1.0], [1.0, -0.8], np.random.default_rng(4).normal(0.0, 0.3, TIME.size))
    (draft,) = drafts_of(make_run, torque=rise + noise)
    frames = slice(round(1e3 * draft.start_s), round(1e3 * draft.end_s) + 1)
    time, torque = TIME[frames] - draft.end_s, (rise + noise)[frames]
    fit, covariance = np.polyfit(time, torque, 2, cov=True)
    tau = effective_size(torque - np.polyval(fit, time)).tau
    assert tau > 1.5
    per_torque = 1 / (8 * 2 / 3 * (0.055**3 - 0.040**3) / (0.055**2 - 0.040**2) * 8e3)
    assert draft.mu == pytest.approx(fit[2] * per_torque)
    assert draft.u_random == pytest.approx(math.sqrt(covariance[2, 2] * tau) * per_torque)
    assert draft.n_effective == pytest.approx(time.size / tau)


def test_pressure_and_the_signs_of_the_gains(make_run):
    (draft,) = drafts_of(make_run)
    area_mm2 = 0.8 * math.pi * (55.0**2 - 40.0**2)
    assert draft.pressure_mpa == pytest.approx(8e3 / area_mm2)
    by_id = {source.id: value for source, value in draft.contributions.items()}
    assert by_id["torque:T1:slope"] == pytest.approx(0.005 * draft.mu)
    assert by_id["clamp-load:L1:slope"] == pytest.approx(-0.003 * draft.mu)
