"""Load on the faces of a whole run, against the loss that made its torque."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq

from rigdata.reduction.load_path import RELATIVE_U, face_load_factor, mean_face_load

PACK = SimpleNamespace(friction_faces=8, spline_friction=0.1, spline_radius_mm=38.0)
MU, RADIUS = 0.14, 0.048


def test_loading_and_unloading():
    """The torque is made with a known coefficient; it is found again on the way to the loads."""
    load = np.concatenate([np.zeros(20), np.linspace(0.0, 10e3, 50), np.full(50, 10e3)])
    factor = face_load_factor(MU, 0.1, RADIUS, 0.038, 8)
    torque = MU * 8 * RADIUS * factor * load
    falling = np.zeros(load.size, bool)
    assert mean_face_load(load, torque, falling, PACK, RADIUS) == pytest.approx(factor * load)
    falling[-25:] = True
    found = mean_face_load(load, torque, falling, PACK, RADIUS)
    more = face_load_factor(MU, -0.1, RADIUS, 0.038, 8)
    assert factor < 1.0 < more
    assert found[~falling] == pytest.approx(factor * load[~falling])
    assert found[falling] == pytest.approx(more * load[falling])


def test_torque_of_unpressed_plates_does_not_count():
    """Below a fifth of the top load the ratio of torque to load is not that of the plates."""
    load = np.concatenate([np.full(50, 1.9e3), np.full(50, 10e3)])
    factor = face_load_factor(MU, 0.1, RADIUS, 0.038, 8)
    torque = MU * 8 * RADIUS * factor * load
    torque[:50] *= 3.0
    steady = np.zeros(load.size, bool)
    assert mean_face_load(load, torque, steady, PACK, RADIUS) == pytest.approx(factor * load)
    # The same where they slip backwards.
    assert mean_face_load(load, -torque, steady, PACK, RADIUS) == pytest.approx(factor * load)


def test_three_faces_by_hand():
    # a = 0.14 * 0.1 * 0.048 / 0.038 = 0.017684211; (1 - a)/(1 + a) = 0.965246173
    # mean of 1, 0.965246173 and its square, 0.931700175
    assert face_load_factor(0.14, 0.1, 0.048, 0.038, 3) == pytest.approx(0.965648783, rel=1e-8)
    assert pytest.approx(0.288675135) == RELATIVE_U  # 0.5 / sqrt(3)
    assert math.isclose(face_load_factor(0.14, 0.1, 0.048, 0.038, 1), 1.0)


def test_plates_pressed_by_a_little_more_do_count():
    load = np.concatenate([np.full(50, 2.1e3), np.full(50, 10e3)])
    factor = face_load_factor(MU, 0.1, RADIUS, 0.038, 8)
    torque = MU * 8 * RADIUS * factor * load
    torque[:50] *= 3.0
    steady = np.zeros(load.size, bool)
    more = (3.0 * 2.1 + 10.0) / 12.1  # of torque over load, all frames together

    def gap(mu):
        return mu * face_load_factor(mu, 0.1, RADIUS, 0.038, 8) - more * MU * factor

    wanted = face_load_factor(brentq(gap, MU, 2 * MU), 0.1, RADIUS, 0.038, 8)
    assert mean_face_load(load, torque, steady, PACK, RADIUS) == pytest.approx(wanted * load)
