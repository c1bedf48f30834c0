import numpy as np
import pytest
from scipy.integrate import quad

from rigdata.simulation.plates import Annulus, Splines
from rigdata.simulation.scenario import ROUGH, STEEL

PLATES = Annulus(10, 0.055, 0.040, 0.8, 0.3)


@pytest.mark.parametrize("mixture", [0.0, 0.4, 1.0])
def test_face_pressure_carries_the_clamp_load(mixture):
    plates = Annulus(10, 0.055, 0.040, 0.8, mixture)

    def ring(radius):
        return plates.pressure_per_newton(np.array([radius]))[0] * 0.8 * 2.0 * np.pi * radius

    assert quad(ring, 0.040, 0.055)[0] == pytest.approx(1.0, rel=1e-12)


def test_mean_radius_of_both_laws():
    uniform = 2.0 / 3.0 * (55.0**3 - 40.0**3) / (55.0**2 - 40.0**2)
    assert Annulus(1, 0.055, 0.040, 0.8, 0.0).mean_radius_m == pytest.approx(uniform / 1e3)
    assert Annulus(1, 0.055, 0.040, 0.8, 1.0).mean_radius_m == pytest.approx(0.0475)


@pytest.mark.parametrize("material", [ROUGH, STEEL])
@pytest.mark.parametrize("omega", [0.05, 2.0, 30.0])
def test_torque_is_the_law_integrated_over_the_annulus(material, omega):
    load = 6000.0

    def ring(radius):
        even = (1.0 - 0.3) / (np.pi * (0.055**2 - 0.040**2))
        falling = 0.3 / (2.0 * np.pi * radius * (0.055 - 0.040))
        pressure = load * (even + falling) / 0.8
        mu = material.kinetic(omega * radius, 90.0, pressure / 1e6)
        return 10 * float(mu) * pressure * 0.8 * 2.0 * np.pi * radius**2

    expected = quad(ring, 0.040, 0.055, epsrel=1e-11)[0]
    torque = PLATES.friction_torque(
        np.array([load]),
        np.array([-omega]),
        lambda v, p: material.kinetic(v, 90.0, p / 1e6),
    )
    assert torque[0] == pytest.approx(expected, rel=1e-8)


def test_annulus_is_narrow_enough_for_one_effective_radius():
    # v = omega r_e and the mean pressure describe the whole pack within 0.05 %.
    for material in (ROUGH, STEEL):
        omega, load = np.geomspace(0.05, 30.0, 9), np.full(9, 6000.0)
        torque = PLATES.friction_torque(
            load, omega, lambda v, p, m=material: m.kinetic(v, 90.0, p / 1e6)
        )
        radius = PLATES.mean_radius_m
        mu = material.kinetic(omega * radius, 90.0, load / PLATES.area_m2 / 1e6)
        assert torque / (10 * radius * load) == pytest.approx(mu, rel=5e-4)


def test_splines_lose_load_while_it_grows_and_gain_while_it_shrinks():
    splines = Splines(0.060, 0.05)
    load = np.concatenate([np.linspace(1e3, 1e4, 50), np.linspace(1e4, 1e3, 50)])
    mean = splines.mean_load(load, np.full(100, 0.14), faces=3, arm_m=0.048)
    a = 0.14 * 0.05 * 0.048 / 0.060
    down, up = (1.0 - a) / (1.0 + a), (1.0 + a) / (1.0 - a)
    assert mean[20] == pytest.approx(load[20] * (1.0 + down + down**2) / 3.0)
    assert mean[80] == pytest.approx(load[80] * (1.0 + up + up**2) / 3.0)


def test_splines_do_not_turn_on_a_ripple():
    load = 5000.0 * (1.0 + 0.01 * np.sin(np.arange(200.0)))
    mean = Splines(0.060, 0.05).mean_load(load, np.full(200, 0.14), faces=4, arm_m=0.048)
    assert np.ptp(mean / load) < 1e-12
