"""Load path through the splines against a plate-by-plate force balance."""

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import brentq

from rigdata.reduction.load_path import face_load_factor


def plate_by_plate(mu, spline_mu, radius, spline_radius, faces, load):
    """Axial force on each face from the balance of each plate, solved for its own sake."""
    forces = [load]
    for _ in range(faces - 1):
        before = forces[-1]

        def unbalance(after, before=before):
            torque = mu * radius * (before + after)
            return before - after - spline_mu * torque / spline_radius

        forces.append(brentq(unbalance, 0.0, 2 * before))
    return np.array(forces)


@pytest.mark.parametrize("faces", [1, 2, 8, 16])
@pytest.mark.parametrize("spline_mu", [0.05, 0.12, -0.12])
def test_mean_face_load_is_the_force_balance(faces, spline_mu):
    # Our own free-body solution; the closed form in the code is not used here.
    forces = plate_by_plate(0.14, spline_mu, 0.048, 0.038, faces, 10e3)
    factor = face_load_factor(0.14, spline_mu, 0.048, 0.038, faces)
    assert factor == pytest.approx(forces.mean() / 10e3, rel=1e-10)


def test_without_spline_friction_nothing_is_lost():
    assert face_load_factor(0.14, 0.0, 0.048, 0.038, 12) == 1.0


def test_more_faces_lose_more():
    factors = [face_load_factor(0.14, 0.1, 0.048, 0.038, n) for n in (1, 4, 8, 16)]
    assert factors[0] == 1.0
    assert all(a > b for a, b in itertools.pairwise(factors))
    assert math.isclose(factors[1], np.mean([1, *np.cumprod([forward(0.14, 0.1)] * 3)]))


def forward(mu, spline_mu):
    a = mu * spline_mu * 0.048 / 0.038
    return (1 - a) / (1 + a)
