import numpy as np
import pytest

from rigdata.simulation.scenario import ROUGH, STEEL
from rigdata.simulation.truth import ConstantCurve, PackTruth, StribeckCurve, Truth


def test_stribeck_curve_at_hand_computed_values():
    # mu_c .10, mu_s .14, v_s .05, shape 1, slope .005; worked out with a calculator.
    curve = StribeckCurve(0.10, 0.14, 0.05, 1.0, 0.005)
    shown = curve.at([0.0, 0.01, 0.05, 0.1, 0.5, 1.0])
    known = [0.14, 0.13279923, 0.11496518, 0.10591341, 0.10250182, 0.105]
    assert shown == pytest.approx(known, abs=5e-9)


def test_constant_curve_keeps_the_shape():
    assert ConstantCurve(0.1).at(np.zeros((2, 3))).shape == (2, 3)


@pytest.mark.parametrize(
    ("material", "low", "high"), [(ROUGH, 0.115, 0.175), (STEEL, 0.080, 0.125)]
)
def test_demo_materials_stay_in_their_ranges(material, low, high):
    speed, temperature, pressure = np.meshgrid(
        np.geomspace(0.002, 1.6, 20), np.linspace(30.0, 170.0, 8), np.geomspace(0.5, 4.5, 6)
    )
    mu = material.kinetic(speed, temperature, pressure)
    assert low < mu.min() < mu.max() < high


def test_rough_rises_and_steel_falls_with_speed():
    speed = np.geomspace(0.002, 0.5, 30)
    assert np.all(np.diff(ROUGH.kinetic(speed, 90.0, 1.5)) > 0.0)
    assert np.all(np.diff(STEEL.kinetic(speed, 90.0, 1.5)) < 0.0)


def test_breakaway_is_above_creep_and_rises_with_dwell():
    for material in (ROUGH, STEEL):
        static = material.static([1.0, 10.0], 90.0, 1.5)
        assert material.kinetic(0.002, 90.0, 1.5) < static[0] < static[1]


def test_bedding_fades_and_wear_grows():
    bedding = ROUGH.bedding_factor([0.0, 1.0, 20.0])
    assert bedding[0] == pytest.approx(0.90)
    assert bedding[2] == pytest.approx(1.0, abs=1e-6)
    worn = ROUGH.wear_factor([0.0, 50.0, 1e4])
    assert worn[0] == 1.0
    assert 1.0 > worn[1] > worn[2] == pytest.approx(0.88)


def test_pack_truth_is_the_mean_times_its_factors():
    pack = PackTruth("steel-on-steel", "worn", 96.0, 1.02, 0.055, 0.040, 0.5)
    truth = Truth({"steel-on-steel": STEEL}, {"B8": pack}, {}, {})
    mean = truth.mu("steel-on-steel", "worn", 0.1, 90.0, 1.5)
    assert truth.pack_mu("B8", 0.1, 90.0, 1.5) == pytest.approx(1.02 * mean)
    assert mean < truth.mu("steel-on-steel", "new", 0.1, 90.0, 1.5)
    held = truth.static_mu("steel-on-steel", "worn", 4.0, 90.0, 1.5)
    assert truth.pack_static_mu("B8", 4.0, 90.0, 1.5) == pytest.approx(1.02 * held)
