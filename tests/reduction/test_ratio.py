import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.windows import Window, speed_bins, steady_windows, temperature_bins
from rigdata.uncertainty.effective_size import pooled_noise

# Eight frames without mean or trend, whose neighbours do not resemble each other.
SWING = np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0])
ARM_M = 8 * 2 / 3 * (0.055**3 - 0.04**3) / (0.055**2 - 0.04**2)


def drafted(make_run, torque, load=8e3, *sizes):
    """Drafts of windows that follow each other, the first from the start."""
    run = make_run(np.arange(torque.size) * 0.01, torque, load, 2.0)
    ends = np.cumsum(sizes or (torque.size,))
    starts = (0, *ends[:-1])
    return ratio_drafts(
        run, [Window(np.arange(*ends_of), "-") for ends_of in zip(starts, ends, strict=True)]
    )


def held(make_run, noise, *, mu=0.12, seconds=30.0, rate=50.0, load=8e3, sign=1.0):
    time = np.arange(0.0, seconds, 1 / rate)
    probe = make_run(time, 0.0, load, 2.0)
    per_load = probe.geometry.faces * probe.geometry.radius_m
    torque = sign * (mu * per_load * load + noise(time.size))
    return make_run(time, torque, load, sign * 2.0)


def test_value_condition_and_pressure(make_run):
    run = held(make_run, lambda n: np.zeros(n))
    drafts = ratio_drafts(run, steady_windows(run))
    assert len(drafts) == 3
    for draft in drafts:
        assert draft.mu == pytest.approx(0.12, rel=1e-12)
        assert draft.slip_speed_m_s == pytest.approx(2.0 * run.geometry.radius_m)
        # p = F / (phi pi (ro^2 - ri^2)), by hand for 55 and 40 mm and phi = 0.8.
        assert draft.pressure_mpa == pytest.approx(8e3 / (0.8 * np.pi * (55**2 - 40**2)), rel=1e-9)
        assert draft.temperature_c == 80.0


def test_turning_the_other_way_gives_the_same(make_run):
    run = held(make_run, lambda n: np.zeros(n), sign=-1.0)
    assert ratio_drafts(run, steady_windows(run))[0].mu == pytest.approx(0.12, rel=1e-12)


def test_random_part_follows_the_autocorrelation(make_run):
    """The spread of many means is the stated random part, where noise is correlated."""
    r, sd, means, stated = 0.9, 4.0, [], []
    for seed in range(200):
        rng = np.random.default_rng(seed)

        def noise(n, rng=rng):
            white = rng.normal(0, sd * np.sqrt(1 - r**2), n + 200)
            return lfilter([1.0], [1.0, -r], white)[200:]

        run = held(make_run, noise, seconds=60.0)
        for draft in ratio_drafts(run, steady_windows(run)):
            means.append(draft.mu)
            stated.append(draft.u_random)
    assert np.std(means) == pytest.approx(np.mean(stated), rel=0.12)
    # Taking the samples as independent would claim less than a third of that.
    assert np.mean(stated) > 3 * (sd / np.sqrt(500)) / (8 * run.geometry.radius_m * 8e3)


def test_random_part_by_hand(make_run):
    """Variance of the window, worth n - 2 frames, and of the run, worth ten, over n."""
    swing = np.concatenate([6.0 * SWING, 2.0 * SWING, 2.0 * SWING])
    drafts = drafted(make_run, 400.0 + swing, 8e3, 8, 16)
    assert [d.n_effective for d in drafts] == [8.0, 16.0]
    own = [8 * 6.0**2, 16 * 2.0**2]  # sums of squares [(N m)^2]
    run = sum(own) / (6 + 14)
    for draft, squares, n in zip(drafts, own, (8, 16), strict=True):
        variance = (10 * run + squares) / (10 + n - 2)
        assert draft.u_random == pytest.approx((variance / n) ** 0.5 / (ARM_M * 8e3), rel=1e-9)


def test_frames_that_resemble_each_other_are_worth_fewer(make_run):
    """Own variance and that of the run are weighed by independent frames, not by all."""
    white = np.random.default_rng(4).normal(0.0, 1.0, 1000)
    noise = lfilter([1.0], [1.0, -0.8], white) * np.repeat([1.0, 1.5], 500)
    drafts = drafted(make_run, 400.0 + noise, 8e3, 500, 500)
    n_effective = drafts[0].n_effective
    assert 30 < n_effective < 90  # 56 for ever so many windows
    time = np.arange(500)
    own = [
        np.sum((part - np.polyval(np.polyfit(time, part, 1), time)) ** 2)
        for part in (noise[:500], noise[500:])
    ]
    shared = pooled_noise([noise[:500], noise[500:]], fitted=2)
    assert shared.taken == pytest.approx(2.0, abs=0.2)
    run = sum(own) / (2 * 500 * (1 - shared.taken / n_effective))
    for draft, squares in zip(drafts, own, strict=True):
        variance = (10 * run + squares / 500 * n_effective) / (10 + n_effective - shared.taken)
        u = (variance / n_effective) ** 0.5 / (ARM_M * 8e3)
        assert draft.u_random == pytest.approx(u, rel=1e-3)


def test_drift_and_load_within_its_band_are_no_noise(make_run):
    load = 8e3 * (1 + 0.03 * SWING)
    (draft,) = drafted(make_run, 0.12 * ARM_M * load + np.linspace(-5.0, 5.0, 8), load)
    assert draft.mu == pytest.approx(0.12, rel=1e-12)
    assert draft.u_random == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("frames", "points"), [(3, 0), (4, 1)])
def test_a_point_takes_four_frames(make_run, frames, points):
    assert len(drafted(make_run, np.full(frames, 400.0))) == points


@pytest.mark.parametrize(
    ("ripple", "swing_nm", "reason"),
    [
        (0.0, 0.52e-6, ""),
        (0.0, 0.48e-6, "torque frozen"),
        (0.045, 1.0, ""),
        (0.055, 1.0, "clamp load not steady: 6 % spread"),
    ],
)
def test_windows_not_used(make_run, ripple, swing_nm, reason):
    """Torque within a micronewton metre stands still; load may scatter by 5 %."""
    (draft,) = drafted(make_run, 400.0 + swing_nm * SWING, 8e3 * (1 + ripple * SWING))
    assert draft.reason == reason


def test_contributions_are_the_relative_errors_with_their_signs(make_run):
    run = held(make_run, lambda n: np.zeros(n))
    draft = ratio_drafts(run, steady_windows(run))[0]
    by_id = {s.id: c for s, c in draft.contributions.items()}
    assert by_id["torque:T1:slope"] == pytest.approx(0.005 * 0.12)
    assert by_id["clamp-load:L1:slope"] == pytest.approx(-0.003 * 0.12)
    assert by_id["outer-radius:P1"] < 0
    assert set(by_id) == {
        "torque:T1:slope",
        "clamp-load:L1:slope",
        "outer-radius:P1",
        "inner-radius:P1",
        "radius-law:uniform-pressure",
    }


def swept(make_run, *, slope=0.01, hysteresis=0.0):
    """Slip speed up and back on an exponential ramp under a law straight in ln v."""
    time = np.arange(0.0, 48.0, 0.01)
    way = np.interp(time, [0, 24, 48], [0, 1, 0])
    speed = 0.05 * (30 / 0.05) ** way
    probe = make_run(time, 0.0, 8e3, speed)
    v = speed * probe.geometry.radius_m
    mu = 0.12 + slope * np.log(v / 0.1) + np.where(time < 24, hysteresis, 0.0)
    torque = mu * probe.geometry.faces * probe.geometry.radius_m * 8e3
    return make_run(time, torque, 8e3, speed, procedure="speed-sweep")


def test_sweep_bins_are_on_the_law_up_and_down_apart(make_run):
    run = swept(make_run)
    drafts = ratio_drafts(run, speed_bins(run))
    assert len(drafts) > 40
    for draft in drafts:
        law = 0.12 + 0.01 * np.log(draft.slip_speed_m_s / 0.1)
        assert draft.mu == pytest.approx(law, rel=3e-4)
    assert {d.direction for d in drafts} == {"up", "down"}


def test_hysteresis_shows_between_up_and_down(make_run):
    run = swept(make_run, hysteresis=0.002)
    for draft in ratio_drafts(run, speed_bins(run)):
        above = draft.mu - (0.12 + 0.01 * np.log(draft.slip_speed_m_s / 0.1))
        # The turn is found to a tenth of a second, so the top bin is a little mixed.
        assert above == pytest.approx(0.002 if draft.direction == "up" else 0.0, abs=4e-4)


def test_temperature_bins(make_run):
    time = np.arange(0.0, 100.0, 0.05)
    run = make_run(
        time, 500.0, 8e3, 2.0, temperature=40 + 0.8 * time, procedure="temperature-sweep"
    )
    drafts = ratio_drafts(run, temperature_bins(run))
    temperatures = [d.temperature_c for d in drafts]
    assert len(drafts) >= 15
    assert min(np.diff(temperatures)) > 2.0
    assert all(d.direction == "up" for d in drafts)


def test_a_window_with_moving_load_is_kept_but_not_used(make_run):
    time = np.arange(0.0, 10.0, 0.02)
    load = 8e3 * (1 + 0.08 * np.sign(np.sin(2 * np.pi * time / 0.1)))
    run = make_run(time, 0.12 * load, load, 2.0)
    drafts = ratio_drafts(run, steady_windows(run))
    assert drafts
    assert all("not steady" in d.reason for d in drafts)
