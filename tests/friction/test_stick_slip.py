"""Stick and slip found again from friction points whose ripple was planted."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn

from rigdata.friction.fit import fit_group
from rigdata.friction.onset import speed_trend
from rigdata.friction.results import Group
from rigdata.friction.ripple import FACTOR, LEAST_RIPPLE, ripple_windows
from rigdata.friction.stick_slip import EVERYWHERE, NONE, NOT_BY_SPEED, ONSET, find_stick_slip
from rigdata.friction.stick_slip_words import stick_slip_words
from rigdata.reduction.points import concatenate

LAYOUT = ((14,) * 4,) * 4
LIMIT = 0.004


def points(seed=1, **truth):
    truth = {"layout": LAYOUT, "speeds": (0.005, 1.5), **truth}
    return drawn(Truth(**truth), np.random.default_rng(seed))


def rippled(own, ripple, *, hz=np.nan, sticks=0.0, limit=LIMIT):
    """The points with a ripple, and a little of its own scatter."""
    n = len(own)
    scatter = np.exp(np.random.default_rng(7).normal(0.0, 0.15, n))
    return replace(
        own,
        torque_ripple=np.broadcast_to(ripple, n) * scatter,
        ripple_limit=np.full(n, limit),
        ripple_hz=np.broadcast_to(hz, n),
        stick_share=np.broadcast_to(sticks, n),
    )


def below(own, onset, *, amplitude=0.12, quiet=0.004):
    return np.where(own.slip_speed_m_s < onset, amplitude, quiet)


def found_in(own, fits=None):
    (found,) = find_stick_slip(own, fits or {}, REFERENCE).values()
    return found


@pytest.mark.parametrize("onset", [0.02, 0.1, 0.4])
def test_the_onset_is_found(onset):
    own = points()
    own = rippled(own, below(own, onset), hz=np.where(below(own, onset) > 0.1, 17.0, np.nan))
    found = found_in(own)
    assert found.verdict == ONSET
    step = (1.5 / 0.005) ** (1 / 13)
    assert found.onset.speed_m_s == pytest.approx(onset, rel=step - 1)
    assert found.onset.low / step < onset < found.onset.high * step
    assert found.onset.basis == "packs"
    assert found.onset.moves_with == ()
    assert (found.packs, found.packs_oscillating) == (4, 4)
    assert found.baseline == pytest.approx(0.004, rel=0.2)
    assert found.ripple[0] < 0.12 < found.ripple[1]
    assert found.hz == (17.0, 17.0)
    assert found.worst.slip_speed_m_s < onset
    words = stick_slip_words(found)
    assert f"sticks and slips below {found.onset.speed_m_s:.2g} m/s" in words
    assert "17 Hz" in words


def test_the_interval_holds_the_mean_of_the_packs_as_often_as_stated():
    """Packs with an onset of their own, the windows of one pack all on its side."""
    rng, inside, n = np.random.default_rng(3), 0, 60
    base = points(layout=((20,) * 3,) * 5)
    packs = list(dict.fromkeys(base.pack.tolist()))
    for _ in range(n):
        own_onset = dict(zip(packs, 0.1 * np.exp(rng.normal(0.0, 0.4, len(packs))), strict=True))
        onset = np.array([own_onset[pack] for pack in base.pack.tolist()])
        found = found_in(rippled(base, below(base, onset)))
        inside += found.onset.low < 0.1 < found.onset.high
    # Binomial: fewer than 51 of 60 at 95 % happens once in 500.
    assert inside >= 51


@pytest.mark.parametrize(("sweeps", "basis"), [(4, "sweeps"), (2, "windows"), (1, "windows")])
def test_one_pack_has_an_interval_of_its_own_and_says_so(sweeps, basis):
    own = points(layout=((14,) * sweeps,))
    found = found_in(rippled(own, below(own, 0.1)))
    assert found.onset.basis == basis
    assert found.onset.low < 0.1 < found.onset.high
    assert found.onset.high < 5 * found.onset.low
    assert "the interval is that of 1 pack, not of the next" in stick_slip_words(found)


def test_sweeps_up_and_down_may_part_company():
    """A swing that is there lives on to a higher speed than that at which it starts."""
    own = points(layout=((20,) * 4,) * 4)
    up = np.array([int(run[-1]) % 2 == 0 for run in own.run.tolist()])
    own = replace(own, direction=np.where(up, "up", "down"))
    found = found_in(rippled(own, below(own, np.where(up, 0.2, 0.05))))
    assert found.onset.up_over_down == pytest.approx(4.0, rel=0.3)
    assert found.onset.speed_m_s == pytest.approx(0.1, rel=0.2)
    assert "on the way up at" in stick_slip_words(found)


def test_a_sweep_without_an_onset_is_counted():
    own = points(pressures=(0.5, 2.0))
    light = own.pressure_mpa < np.median(own.pressure_mpa)
    found = found_in(rippled(own, np.where(light, 0.004, below(own, 0.1))))
    assert found.verdict == ONSET
    assert (found.onset.sweeps, found.onset.sweeps_tested) == (8, 16)
    assert "8 of 16 sweeps passed an onset" in stick_slip_words(found)


def test_a_stray_window_does_not_move_the_onset():
    own = points(layout=((20,) * 4,) * 4)
    ripple = below(own, 0.1)
    ripple[[19, 45]] = 0.05, 0.004
    found = found_in(rippled(own, ripple))
    assert found.onset.low < 0.1 < found.onset.high
    assert found.onset.high < 3 * found.onset.low


def test_the_onset_follows_the_load():
    """As the textbook has it for friction that falls as 1/v: twice the load, twice the onset."""
    own = points(temperatures=(80.0, 80.0), layout=((20,) * 6,) * 4)
    found = found_in(rippled(own, below(own, 0.08 * own.pressure_mpa)))
    assert found.onset.moves_with == ("pressure",)
    assert found.onset.pressure_power == pytest.approx(1.0, abs=0.2)
    assert found.onset.speed_m_s == pytest.approx(0.08, rel=0.15)
    assert "higher with pressure" in stick_slip_words(found)


def test_pressure_and_temperature_that_go_together_cannot_be_told_apart():
    own = points(layout=((20,) * 6,) * 4)
    warm = 80.0 + 40.0 * np.log2(own.pressure_mpa)
    own = replace(own, temperature_c=warm)
    found = found_in(rippled(own, below(own, 0.08 * own.pressure_mpa)))
    assert found.onset.moves_with == ("pressure", "temperature")
    assert "were varied together" in stick_slip_words(found)


def test_never_seen_is_told_with_its_limit():
    own = points()
    found = found_in(rippled(own, 0.003))
    assert found.verdict == NONE
    assert found.onset is None
    assert found.onset_range == (0.0, pytest.approx(0.005))
    words = stick_slip_words(found)
    assert "no stick-slip at 0.005 to 1.5 m/s" in words
    assert f"torque ripples by {100 * found.baseline:.2g} % of its mean" in words
    assert found.baseline == pytest.approx(0.003, rel=0.05)
    assert "noise alone stays below 0.4 %" in words


def test_always_seen_is_told_with_its_limit():
    quiet = rippled(points(material="smooth"), 0.004)
    loud = points(2)
    both = concatenate([quiet, rippled(loud, 0.1 * loud.slip_speed_m_s**-0.1)])
    found = find_stick_slip(both, {}, REFERENCE)
    assert found[Group("smooth", "new")].verdict == NONE
    always = found[Group("rough", "new")]
    assert always.verdict == EVERYWHERE
    assert always.onset_range == (pytest.approx(1.5), np.inf)
    assert "its onset is above 1.5 m/s" in stick_slip_words(always)


def test_a_hum_of_one_torque_at_all_speeds_is_no_stick_slip():
    """As from the mains: constant in N*m, so larger a share where the load is light."""
    own = points(pressures=(0.4, 3.0))
    hum = 0.03 * 0.12 / (own.mu * own.pressure_mpa)
    assert hum.max() > 5 * hum.min()
    found = found_in(rippled(own, hum, hz=50.0))
    assert found.verdict == NONE
    words = stick_slip_words(found)
    assert "does not depend on slip speed, at 50 Hz: look at the mains" in words
    assert "sticks and slips" not in words


def test_the_hum_does_not_hide_stick_slip():
    own = points()
    found = found_in(rippled(own, below(own, 0.1, amplitude=0.2, quiet=0.03)))
    assert found.verdict == ONSET
    assert found.baseline == pytest.approx(0.03, rel=0.2)


def test_ripple_that_grows_with_speed_is_no_stick_slip():
    own = points()
    found = found_in(rippled(own, np.where(own.slip_speed_m_s > 0.5, 0.08, 0.004), hz=31.0))
    assert found.verdict == NOT_BY_SPEED
    assert np.isnan(found.onset_range).all()
    words = stick_slip_words(found)
    assert "not for being slow" in words
    assert "31 Hz" in words


def test_noise_alone_gives_no_onset_beyond_the_stated_rate():
    """200 windows a campaign whose ripple is that of noise, as the reduction works it out."""
    rng, called, n = np.random.default_rng(11), 0, 100
    own = points(layout=((10,) * 5,) * 4)
    assert len(own) == 200
    dof = 40.0
    limit = 0.05
    level = limit / np.sqrt(2 * (np.quantile(rng.chisquare(dof, 100_000), 0.99) / dof - 1))
    for _ in range(n):
        power = (rng.chisquare(dof, len(own)) / dof - 1).clip(0)
        noisy = replace(
            own, torque_ripple=level * np.sqrt(2 * power), ripple_limit=np.full(len(own), limit)
        )
        windows = ripple_windows(noisy)
        assert windows.oscillates.mean() < 0.05
        called += found_in(noisy).verdict != NONE
    # Binomial: more than 5 of 100 at 1 % happens once in 2000.
    assert called <= 5


def test_a_hold_at_one_speed_says_nothing_of_the_speed():
    own = points(speeds=(0.1, 0.11))
    windows = ripple_windows(rippled(own, np.where(own.slip_speed_m_s < 0.105, 0.1, 0.004)))
    assert windows.oscillates.any()
    assert speed_trend(windows) == 0.0


def test_holds_of_a_pack_at_several_speeds_are_a_sweep():
    own = points(layout=((1,) * 12,) * 4, speeds=(0.01, 1.0))
    ladder = np.tile(np.geomspace(0.01, 1.0, 12), 4)
    own = replace(own, slip_speed_m_s=ladder)
    found = found_in(rippled(own, below(own, 0.1)))
    assert found.verdict == ONSET
    assert found.onset.low < 0.1 < found.onset.high * 1.3


def test_sticking_windows_count_although_they_are_not_used():
    own = points()
    slow = own.slip_speed_m_s < 0.1
    stuck = rippled(own, 0.004, sticks=np.where(slow, 0.5, 0.0)).not_used(slow, "sticks and slips")
    found = found_in(stuck)
    assert found.verdict == ONSET
    assert found.sticking == found.oscillating == slow.sum()
    assert "stand still for a part of the time" in stick_slip_words(found)
    # Points that are out for any other reason stay out.
    spoilt = rippled(own, 0.2).not_used(np.ones(len(own), bool), "clamp load not steady")
    assert find_stick_slip(spoilt, {}, REFERENCE) == {}


def test_the_link_to_a_falling_law():
    own = points(law="stribeck", theta=(0.10, 0.14, 0.05, 1.0, 0.03, 0.0, 0.0))
    group = Group("rough", "new")
    fit = fit_group(own, group, REFERENCE, laws=["stribeck"])
    linked = found_in(rippled(own, below(own, 0.1)), {group: fit})
    assert linked.link.rising[0] == 0
    assert linked.link.falling[0] == linked.oscillating
    assert linked.link.p < 1e-3
    assert "where it rises 0 of" in stick_slip_words(linked)


def test_a_law_that_rises_everywhere_tells_nothing_apart():
    own = points(theta=(0.12, 0.004, 0.0, 0.0))
    group = Group("rough", "new")
    fit = fit_group(own, group, REFERENCE, laws=["log-speed"])
    found = found_in(rippled(own, below(own, 0.1)), {group: fit})
    assert "rises with slip speed at all of them" in stick_slip_words(found)
    level = fit_group(own, group, REFERENCE, laws=["constant"])
    assert found_in(rippled(own, below(own, 0.1)), {group: level}).link is None


def test_files_without_ripple_have_nothing_to_say():
    assert find_stick_slip(points(), {}, REFERENCE) == {}


def test_the_threshold_is_as_stated():
    own = points()
    every_seventh = np.arange(len(own)) % 7 == 0
    for level, factor, oscillates in (
        (0.02, 1.1 * FACTOR, True),
        (0.02, 0.9 * FACTOR, False),
        (0.002, 0.9 * LEAST_RIPPLE / 0.002, False),
        (0.002, 1.1 * LEAST_RIPPLE / 0.002, True),
    ):
        ripple = np.where(every_seventh, factor * level, level)
        told = replace(own, torque_ripple=ripple, ripple_limit=np.full(len(own), 1e-4))
        assert ripple_windows(told).oscillates.tolist() == (every_seventh & oscillates).tolist()
    faint = replace(
        own,
        torque_ripple=np.where(every_seventh, 0.03, 0.002),
        ripple_limit=np.full(len(own), 0.04),
    )
    assert not ripple_windows(faint).oscillates.any()
