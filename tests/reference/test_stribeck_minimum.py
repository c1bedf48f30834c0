"""The minimum of the Stribeck law against its closed form.

With exponent 1 the derivative ``k - (mu_s - mu_k) / v_s exp(-v / v_s)`` vanishes at
``v = v_s ln((mu_s - mu_k) / (k v_s))``; for mu_k .10, mu_s .14, v_s .05 m/s,
k .005 s/m that is 0.2537586908 m/s.
"""

import numpy as np
import pytest
from scipy import optimize

from rigdata.campaign.campaign import Reference
from rigdata.friction.conditions import Conditions
from rigdata.friction.envelope import envelope_of
from rigdata.friction.estimate import Estimate
from rigdata.friction.laws.registry import law
from rigdata.friction.results import FrictionFit, Group, Scatter
from rigdata.friction.slopes import speed_slope

REFERENCE = Reference(slip_speed_m_s=0.1, temperature_c=80.0, pressure_mpa=1.0)
THETA = np.array([0.10, 0.14, 0.05, 1.0, 0.005, 0.0, 0.0])


def mu(speed):
    return float(law("stribeck").mu(Conditions(speed, 80.0, 1.0), THETA, REFERENCE)[0])


def test_minimum_lies_where_the_closed_form_says():
    found = optimize.minimize_scalar(
        mu, bounds=(0.05, 1.0), method="bounded", options={"xatol": 1e-9}
    )
    assert found.x == pytest.approx(0.2537586908, abs=1e-6)


def test_slope_vanishes_there():
    step = 1e-5
    at = 0.2537586908
    assert (mu(at + step) - mu(at - step)) / (2 * step) == pytest.approx(0.0, abs=1e-8)
    assert (mu(0.2) - mu(0.2 - step)) / step < -1e-3
    assert (mu(0.4) - mu(0.4 - step)) / step > 1e-3


def certain_fit():
    """A fit of these parameters without any doubt about them."""
    none = np.zeros((7, 7))
    estimate = Estimate(THETA, none, ("misfit",), [0.0], [none], [0.0], [0.0], [9.0], np.eye(1))
    tested = Conditions(np.geomspace(0.01, 1.0, 9), np.linspace(60.0, 100.0, 9), 1.0)
    return FrictionFit(
        group=Group("plain", "new"),
        law="stribeck",
        reference=REFERENCE,
        estimate=estimate,
        not_identified=(),
        scatter=Scatter(None, None, 0.0),
        envelope=envelope_of(tested),
        n_points=9,
        n_packs=1,
        n_runs=1,
        chi2_reduced=1.0,
        chi2_measurement=1.0,
        pulls={},
        residual_trend={},
        ranking=(),
        point=[],
        residual=[],
        notices=(),
    )


def test_the_slope_of_a_fit_vanishes_there():
    slope = speed_slope(certain_fit(), Conditions([0.2, 0.2537586908, 0.3], 80.0, 1.0))
    assert slope.value[1] == pytest.approx(0.0, abs=1e-9)
    expected = 0.005 - 0.8 * np.exp(-np.array([0.2, 0.3]) / 0.05)
    np.testing.assert_allclose(slope.value[[0, 2]], expected, rtol=1e-6)


def test_the_fit_falls_up_to_there_and_rises_beyond():
    tested = Conditions(np.geomspace(0.01, 1.0, 121), 80.0, 1.0)
    slope = speed_slope(certain_fit(), tested)
    ((_, falls_to),), ((rises_from, _),) = slope.falling, slope.rising
    assert falls_to == pytest.approx(0.2537586908, rel=2e-3)
    assert rises_from == pytest.approx(0.2537586908, rel=2e-3)
    fine = Conditions(np.geomspace(0.24, 0.27, 60), 80.0, 1.0)
    assert speed_slope(certain_fit(), fine).falling[0][1] == pytest.approx(0.2537586908, rel=1e-6)
