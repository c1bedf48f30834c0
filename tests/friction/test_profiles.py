"""Profiles of parameters: limits, what has none, and what the user is told of it."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.errors import Severity
from rigdata.friction import outward, profiles
from rigdata.friction.design import Block, conditions_of
from rigdata.friction.fit import fit_campaign
from rigdata.friction.fits_file import fits_from_dict, fits_to_dict
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law
from rigdata.friction.outward import BOUND, LEVEL
from rigdata.friction.profile_words import open_words
from rigdata.friction.profiles import profiles_of
from rigdata.reduction.points import concatenate

FLAT = (0.10, 0.14, 0.02, 1.0, 0.0, -0.0008, -0.06)  # all of the fall below 0.08 m/s
SWEEPS = Truth(law="stribeck", theta=FLAT, runs=(3, 3), points=(8, 8))
STEP = (0.10, 0.14, 0.05, 9.0, 0.0, -0.0008, -0.06)


def joint(truth, name, held=None, seed=1):
    points = drawn(truth, np.random.default_rng(seed))
    return joint_fit([Block("rough (new)", points, law(name, OIL), held or {})], REFERENCE)


def by_name(fit):
    return {profile.name: profile for profile in profiles_of(fit)}


def fit_of(truth, seed=1, **options):
    (fit,) = fit_campaign(drawn(truth, np.random.default_rng(seed)), REFERENCE, **options).values()
    return fit


@pytest.mark.parametrize("packs", [2, 5])
def test_a_linear_parameter_has_the_usual_interval_exactly(packs):
    """A line in ln v, with nothing else free: few packs or many, t as ever."""
    fit = joint(Truth(packs=packs), "log-speed", {"b": 0.0, "c": 0.0})
    half = fit.estimate.half_width(np.eye(4))
    u = np.sqrt(np.diag(fit.estimate.covariance))
    for i, profile in enumerate(profiles_of(fit)):
        value = fit.estimate.theta[i]
        assert profile.value == value
        assert profile.low == pytest.approx(value - half[i], rel=1e-9, abs=1e-9 * half[i])
        assert profile.high == pytest.approx(value + half[i], rel=1e-9, abs=1e-9 * half[i])
        assert profile.root == pytest.approx((profile.at - value) / u[i], abs=1e-6)
        assert profile.at.size == 3  # one refit each side
        assert not profile.lopsided


def test_steps_too_short_to_tell_apart_are_one_place(monkeypatch):
    """As where the deviance jumps over the threshold: the way there is halved to the last bit."""

    def jumping(*arguments):
        side = outward.side_of(*arguments)
        short = [
            replace(side.steps[-1], far=side.steps[-1].far * (1.0 + k * 1e-15)) for k in (1, 1)
        ]
        return replace(side, steps=[*side.steps, *short])

    fit = joint(Truth(packs=3), "log-speed", {"b": 0.0, "c": 0.0})
    usual = profiles_of(fit)
    monkeypatch.setattr(profiles, "side_of", jumping)
    for profile, plain in zip(profiles_of(fit), usual, strict=True):
        assert np.all(np.diff(profile.at) > 0.0)
        assert profile.at == pytest.approx(plain.at, rel=1e-12)
        assert profile.root.size == profile.at.size


def test_a_curved_parameter_ends_where_the_refitted_points_say():
    """The deviance at each limit, with the covariance of the fit and the others refitted."""
    fit = joint(replace(SWEEPS, speeds=(0.04, 1.0)), "stribeck", {"d": 1.0})
    profile = by_name(fit)["v_s"]
    assert profile.lopsided
    model, variances = fit.model, fit.estimate.variances
    precision = np.linalg.inv(model.times(np.eye(fit.curve.size), variances))
    conditions, reference = fit.design.blocks[0].conditions, fit.design.reference
    form, theta = fit.design.blocks[0].law, fit.estimate.theta

    def squares(theta):
        left = fit.design.mu - form.mu(conditions, theta, reference)
        return left @ precision @ left

    def refitted(v_s):
        free = np.array([0, 1, 4, 5, 6])
        here = theta.copy()
        here[2] = v_s
        for _ in range(200):
            slopes = form.jacobian(conditions, here, reference)[:, free]
            left = fit.design.mu - form.mu(conditions, here, reference)
            weighted = slopes.T @ precision
            here[free] += np.linalg.solve(weighted @ slopes, weighted @ left)
        return squares(here)

    for limit in (profile.low, profile.high):
        rise = np.sqrt(refitted(limit) - squares(theta))
        assert rise == pytest.approx(profile.threshold, rel=1e-3)


def test_a_stribeck_speed_below_the_slowest_slip_is_open_and_a_simpler_law_is_named():
    fit = fit_of(replace(SWEEPS, speeds=(0.08, 1.0)))
    assert fit.law == "log-speed"
    (score,) = [score for score in fit.ranking if score.law == "stribeck"]
    assert not score.identified
    assert "v_s has no lower limit" in score.remark
    found = {p.name: p for p in fit.profiles if p.law == "stribeck"}
    assert (found["v_s"].low, found["v_s"].low_open) == (None, LEVEL)
    assert found["mu_s"].high is None
    (told,) = [n for n in fit.notices if n.what.startswith("stribeck law set aside")]
    assert "v_s (Stribeck speed: where the fall has gone 63 % of its way) has no lower" in told.what
    assert f"any value below {found['v_s'].high:.3g} m/s follows the points as well" in told.what
    assert "the slowest slip tested is 0.08 m/s" in told.what
    assert told.do.startswith("The log-speed law is taken instead; to tell, test slower slips")


def test_the_same_law_asked_for_alone_is_taken_with_a_warning():
    fit = fit_of(replace(SWEEPS, speeds=(0.08, 1.0)), laws=["stribeck"])
    (told,) = [n for n in fit.notices if n.severity is Severity.WARNING]
    assert told.what.startswith("stribeck law taken although v_s (Stribeck speed")
    assert told.do.startswith("Take the log-speed law, or test slower slips")
    assert not fit.ranking[0].identified
    assert fit.ranking[0].reason.startswith("taken, though ")


def test_an_open_law_is_taken_where_all_others_miss_the_points():
    """A long fall: what is below 0.2 of its exponent cannot be told, but 1 is spoken against."""
    slow = Truth(law="stribeck", theta=(0.10, 0.14, 0.05, 0.5, *FLAT[4:]), runs=(3, 3))
    fit = fit_of(replace(slow, points=(8, 8)))
    assert fit.law == "stribeck"
    assert "d" not in fit.not_identified
    (profile,) = [p for p in fit.profiles if p.name == "d"]
    assert profile.low_open == BOUND
    assert profile.high < 1.0
    (told,) = [n for n in fit.notices if n.severity is Severity.WARNING]
    assert "down to its bound 0.2 (below the fall has no end, above it is a step)" in told.what
    assert "law, which leaves nothing open (" in told.do


def test_a_bound_that_holds_is_told():
    """A step steeper than the exponent may be."""
    fit = joint(replace(SWEEPS, theta=STEP, points=(15, 15)), "stribeck")
    assert fit.on_bound == ("d",)
    profile = by_name(fit)["d"]
    assert profile.value == 4.0
    assert profile.high_open == BOUND
    assert profile.undetermined
    assert 1.0 < profile.low < 4.0
    words = open_words(profile, law("stribeck"), fit.design.blocks[0].conditions)
    assert words == (
        "d (exponent: how sudden the fall is) stands on its bound 4: any value above "
        f"{profile.low:.3g} up to its bound 4 (below the fall has no end, above it is a step) "
        "follows the points as well"
    )


def test_a_parameter_that_is_held_keeps_the_profile_that_shows_why():
    rests = Truth(
        law="dwell",
        theta=(0.13, 0.0012, 1.0, -0.0008, -0.06),
        kind="static",
        dwells=(5.0, 60.0),
        speeds=(0.01, 0.01),
    )
    fit = joint(rests, "dwell")
    profile = by_name(fit)["t0"]
    assert profile.low_open
    words = open_words(profile, law("dwell"), conditions_of(fit.design.blocks[0].points))
    assert "has no lower limit" in words or "stands on its bound 0.001 s" in words
    assert words.endswith("the shortest dwell tested is 5 s")


def test_two_packs_leave_a_level_open_but_the_law_is_determined():
    """t of one degree of freedom is 12.7: the packs say little, the points enough."""
    truth = replace(SWEEPS, packs=2, speeds=(0.01, 1.0), pack_sd=0.12)
    fit = fit_of(truth, laws=["log-speed"])
    (profile,) = [p for p in fit.profiles if p.name == "mu0"]
    assert profile.low_open == BOUND
    assert not profile.undetermined
    assert fit.ranking[0].identified
    (told,) = [n for n in fit.notices if n.what.startswith("mu0 (")]
    assert "has no lower limit" in told.what
    assert "few packs" in told.do


def test_every_parameter_of_the_law_has_a_profile_and_keeps_it_in_the_file():
    fit = fit_of(Truth(law="stribeck", theta=THETA["stribeck"]))
    assert tuple(p.name for p in fit.profiles if p.law == fit.law) == fit.form.names
    (back,) = fits_from_dict(fits_to_dict({fit.group: fit}))[0].values()
    for one, other in zip(back.profiles, fit.profiles, strict=True):
        assert one.to_dict() == other.to_dict()


def test_pooled_scatter_moves_the_limits_with_the_interval():
    rng = np.random.default_rng(3)
    both = [drawn(Truth(material=name), rng) for name in ("rough", "plain")]
    fits = fit_campaign(concatenate(both), REFERENCE, laws=["log-speed"], pool_scatter=True)
    for fit in fits.values():
        half = fit.estimate.half_width(np.eye(4))[0]
        assert fit.pooling.used
        assert fit.profiles[0].half_width == pytest.approx(half, rel=1e-9)
        assert fit.profiles[0].high - fit.theta[0] == pytest.approx(half, rel=1e-3)
