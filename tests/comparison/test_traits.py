"""Slope over slip speed and static-to-kinetic ratio."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, THETA, Truth, drawn

from rigdata.comparison.traits import speed_slopes, static_ratios
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import Group
from rigdata.friction.static import fit_static
from rigdata.reduction.points import concatenate

NEW = Group("rough", "new")


def slope_of(truth, **options):
    fits = fit_campaign(drawn(truth, np.random.default_rng(2)), REFERENCE, **options)
    return fits, speed_slopes(fits, REFERENCE)


def test_slope_of_the_log_law_is_a_over_v():
    fits, (trait,) = slope_of(Truth(), laws=["log-speed"])
    fit = fits[NEW]
    assert trait.name == "dmu/dv"
    assert trait.value == pytest.approx(fit.parameters["a"] / 0.1, rel=1e-6)
    assert trait.u == pytest.approx(np.sqrt(fit.covariance[1, 1]) / 0.1, rel=1e-6)
    assert trait.low < -0.04 < trait.high
    assert "mu falls with slip speed" in trait.words
    assert "feeds chatter" in trait.words


def test_slope_of_the_stribeck_law():
    """k - (mu_s - mu_k) d / v (v / v_s)^d exp(-(v / v_s)^d)."""
    truth = Truth(law="stribeck", theta=THETA["stribeck"])
    _, (trait,) = slope_of(truth, laws=["stribeck"])
    expected = 0.005 - 0.04 / 0.05 * np.exp(-2.0)
    assert abs(trait.value - expected) < 3 * trait.u
    assert trait.u < 0.05 * abs(expected)


def test_a_rising_coefficient_damps_chatter():
    _, (trait,) = slope_of(Truth(theta=(0.12, 0.004, -0.0008, -0.06)))
    assert trait.low > 0
    assert "damps chatter" in trait.words


def test_a_constant_law_has_no_slope():
    assert slope_of(Truth(law="constant", theta=(0.12,)), laws=["constant"])[1] == ()


def at_rest_and_slipping(level, **changes):
    rng = np.random.default_rng(5)
    slipping = Truth(pack_sd=0.005, **changes)
    rest = replace(slipping, kind="static", law="constant", theta=(level,))
    points = concatenate([drawn(slipping, rng, 0.5), drawn(rest, rng, 0.5)])
    kinetic, (static, _) = fit_campaign(points, REFERENCE), fit_static(points, REFERENCE)
    return kinetic, static_ratios(points, kinetic, static, REFERENCE)


def test_static_over_kinetic():
    _, (trait,) = at_rest_and_slipping(0.15)
    assert trait.group == NEW
    assert trait.low < 1.25 < trait.high
    assert "sticks before it slips" in trait.words


def test_shared_calibration_cancels_from_static_over_kinetic():
    kinetic, (trait,) = at_rest_and_slipping(0.15, gain_u=0.03, run_sd=0.001)
    relative = np.sqrt(kinetic[NEW].covariance[0, 0]) / kinetic[NEW].theta[0]
    assert relative > 0.029
    assert trait.u / trait.value < 0.01


def test_static_over_kinetic_follows_the_laws_at_one_condition():
    """Static 0.13 + 0.002 ln(1 + t) over kinetic 0.12, both with the same factor of T and p."""
    rng = np.random.default_rng(5)
    slipping = Truth(pack_sd=0.005)
    rest = replace(
        slipping,
        kind="static",
        law="dwell",
        theta=(0.13, 0.002, 1.0, -0.0008, -0.06),
        dwells=(0.5, 60.0),
    )
    points = concatenate([drawn(slipping, rng, 0.5), drawn(rest, rng, 0.5)])
    kinetic = fit_campaign(points, REFERENCE)
    values = []
    for dwell in (2.0, 40.0):
        reference = replace(REFERENCE, dwell_s=dwell)
        static, _ = fit_static(points, reference)
        (trait,) = static_ratios(points, kinetic, static, reference)
        expected = (0.13 + 0.002 * np.log1p(dwell)) / 0.12
        assert trait.low < expected < trait.high
        assert f"after {dwell:.2g} s at rest" in trait.words
        values.append(trait.value)
    assert values[1] - values[0] == pytest.approx(0.002 / 0.12 * np.log(41.0 / 3.0), rel=0.25)


def test_static_over_kinetic_where_breakaway_was_tested():
    """Breakaways hot alone: the kinetic one is taken there too, as near as it was tested."""
    for hot, common in ((100.0, True), (150.0, False)):
        rng = np.random.default_rng(5)
        slipping = Truth(pack_sd=0.005, theta=(0.12, -0.004, -0.004, -0.06))
        rest = replace(
            slipping, kind="static", law="constant", theta=(0.11,), temperatures=(hot, hot + 4.0)
        )
        points = concatenate([drawn(slipping, rng, 0.5), drawn(rest, rng, 0.5)])
        kinetic, (static, _) = fit_campaign(points, REFERENCE), fit_static(points, REFERENCE)
        (trait,) = static_ratios(points, kinetic, static, REFERENCE)
        if common:
            expected = 0.11 / (0.12 * np.exp(-0.004 * (hot - 80.0)))
            assert trait.value == pytest.approx(expected, rel=0.02)
            assert "at 0.10 m/s, 100 degC, 1.0 MPa" in trait.words
        assert ("tested no nearer than 150 degC" in trait.words) == (not common)


def test_no_step_at_breakaway():
    _, (trait,) = at_rest_and_slipping(0.12)
    assert trait.low < 1.0 < trait.high
    assert "no resolved step" in trait.words


def test_groups_without_breakaway_have_no_static_ratio():
    points = drawn(Truth(), np.random.default_rng(1))
    fits = fit_campaign(points, REFERENCE)
    assert static_ratios(points, fits, {}, REFERENCE) == ()
