"""Slopes of mu over slip speed, temperature and pressure."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import Group
from rigdata.friction.slopes import (
    fade,
    pressure_effect,
    slope_over_speed,
    speed_slope,
    surroundings_of_interest,
)

NEW = Group("rough", "new")


def fit_of(truth, laws, seed=3):
    points = drawn(truth, np.random.default_rng(seed))
    return fit_campaign(points, REFERENCE, laws=laws, oil=OIL)[NEW]


@pytest.fixture(scope="module")
def log_speed():
    return fit_of(Truth(), ["log-speed"])


@pytest.fixture(scope="module")
def stribeck():
    return fit_of(Truth(law="stribeck", theta=THETA["stribeck"]), ["stribeck"])


@pytest.mark.parametrize("name", THETA)
def test_the_slope_is_the_derivative_of_the_prediction(name):
    fit = fit_of(Truth(law=name, theta=THETA[name]), [name])
    where = Conditions(np.geomspace(0.02, 0.8, 7), 70.0, 1.2)
    step = 2e-4 * where.slip_speed_m_s
    sides = [
        fit.predict(Conditions(where.slip_speed_m_s + side, 70.0, 1.2)).mu for side in (-step, step)
    ]
    expected = (sides[1] - sides[0]) / (2.0 * step)
    slope = speed_slope(fit, where)
    np.testing.assert_allclose(slope.value, expected, rtol=1e-5, atol=1e-9)


def test_the_interval_of_the_log_law_is_that_of_its_parameter(log_speed):
    """dmu/dv = a / v at the reference temperature and pressure."""
    speed = np.array([0.02, 0.1, 0.5])
    slope = speed_slope(log_speed, Conditions(speed, 80.0, 1.0))
    np.testing.assert_allclose(slope.value, log_speed.parameters["a"] / speed, rtol=1e-7)
    gradient = np.zeros((1, 4))
    gradient[0, 1] = 1.0
    half = log_speed.estimate.half_width(gradient)[0]
    np.testing.assert_allclose(slope.high - slope.value, half / speed, rtol=1e-5)


def test_a_falling_law_falls_over_all_speeds_tested(log_speed):
    slope = slope_over_speed(log_speed, 80.0, 1.0)
    ((low, high),) = slope.falling
    assert low == pytest.approx(0.01, rel=1e-6)
    assert high == pytest.approx(1.0, rel=1e-6)
    assert slope.rising == ()


def test_a_stribeck_law_falls_then_turns(stribeck):
    """The truth turns at v_s ln((mu_s - mu_k) / (k v_s)) = 0.254 m/s."""
    slope = slope_over_speed(stribeck, 80.0, 1.0)
    ((low, high),) = slope.falling
    assert low == pytest.approx(0.01, rel=1e-6)
    assert 0.1 < high < 0.2538
    truth = 0.005 - 0.8 * np.exp(-slope.where.slip_speed_m_s / 0.05)
    assert np.mean((slope.low < truth) & (truth < slope.high)) > 0.9


def test_conditions_outside_the_envelope_have_no_slope(log_speed):
    assert slope_over_speed(log_speed, 300.0, 1.0) is None


def test_a_law_without_speed_has_no_slope():
    assert slope_over_speed(fit_of(Truth(), ["constant"]), 80.0, 1.0) is None


def test_cold_and_hot_light_and_pressed_are_asked_for(log_speed):
    found = surroundings_of_interest(log_speed)
    assert found[0] == (80.0, 1.0)
    temperatures = [t for t, p in found if p == 1.0]
    pressures = [p for t, p in found if t == 80.0]
    assert min(temperatures) < 60.0 < 100.0 < max(temperatures)
    assert min(pressures) < 0.8 < 1.3 < max(pressures)
    speeds = np.geomspace(0.01, 1.0, 41)
    for pair in found:
        assert np.mean(log_speed.envelope.contains(Conditions(speeds, *pair))) >= 0.5


def test_fade_per_100_k_of_an_exponential_law(log_speed):
    found = fade(log_speed)
    b = log_speed.parameters["b"]
    assert found.value == pytest.approx(np.expm1(100.0 * b), rel=1e-9)
    assert found.low < np.expm1(-0.08) < found.high
    assert found.start < 60.0 < 100.0 < found.end
    u = np.sqrt(log_speed.covariance[2, 2])
    assert found.u == pytest.approx(100.0 * u * np.exp(100.0 * b), rel=1e-9)


def test_pressure_per_doubling_of_a_power_law(log_speed):
    found = pressure_effect(log_speed)
    assert found.value == pytest.approx(2.0 ** log_speed.parameters["c"] - 1.0, rel=1e-9)
    assert found.low < 2.0**-0.06 - 1.0 < found.high


def test_axes_that_were_not_varied_have_no_effect():
    fit = fit_of(Truth(temperatures=(78.0, 84.0), pressures=(1.0, 1.0)), ["log-speed"])
    assert fade(fit) is None
    assert pressure_effect(fit) is None


def test_a_steeper_law_is_told_from_its_interval(log_speed):
    """The interval follows the covariance: none left, none wide."""
    estimate = replace(
        log_speed.estimate,
        covariance=np.zeros((4, 4)),
        sensitivity=np.zeros_like(log_speed.estimate.sensitivity),
    )
    certain = replace(log_speed, estimate=estimate)
    assert fade(certain).low == fade(certain).high == fade(certain).value
