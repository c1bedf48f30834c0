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
from rigdata.friction.laws.registry import law

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
