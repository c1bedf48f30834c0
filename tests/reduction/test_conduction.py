import numpy as np
import pytest

from rigdata.reduction.conduction import at_the_face, face_excess
from tests.reduction.conftest import hand_pack

K, RHO_C = 45.0, 3.75e6  # steel: 45 W/(m K), 3.75 MJ/(m^3 K)
THICKNESS, DEPTH = 2.4e-3, 0.8e-3


def slab(flux, seconds):
    """Face and embedded temperature of a slab heated on both faces, by finite differences."""
    cells = 60
    dx = THICKNESS / cells
    dt = 0.3 * dx**2 * RHO_C / K
    temperature = np.zeros(cells)
    for _ in range(round(seconds / dt)):
        flow = np.concatenate([[flux], -K * np.diff(temperature) / dx, [-flux]])
        temperature = temperature - dt * np.diff(flow) / (dx * RHO_C)
    centres = (np.arange(cells) + 0.5) * dx
    face = temperature[-1] + flux * dx / 2 / K
    return face, np.interp(THICKNESS - DEPTH, centres, temperature)


@pytest.mark.parametrize("flux", [2e5, 1e6])
def test_against_a_numerical_slab_once_settled(flux):
    # Our own explicit finite-difference solution of the heat equation.
    face, inside = slab(flux, 1.0)
    expected = face_excess(np.array([flux]), THICKNESS, DEPTH, K)[0]
    assert face - inside == pytest.approx(expected, rel=5e-3)


def test_no_heat_no_correction_and_middle_is_the_most():
    assert face_excess(np.zeros(3), THICKNESS, DEPTH, K) == pytest.approx(np.zeros(3))
    depths = [face_excess(np.array([1e6]), THICKNESS, d, K)[0] for d in (2e-4, 6e-4, 1.2e-3)]
    assert depths == sorted(depths)
    # In the middle plane the excess is q L / (2 k), L half the thickness.
    assert depths[-1] == pytest.approx(1e6 * 1.2e-3 / (2 * K))


def test_a_run_is_moved_to_the_face_with_its_own_source(make_run):
    time = np.arange(0.0, 10.0, 0.02)
    run = make_run(time, 400.0, 6e3, 20.0)
    pack = hand_pack(
        plate_thickness_mm=2.4, thermocouple_depth_mm=0.8, plate_conductivity_w_mk=45.0
    )
    moved = at_the_face(run.temperature, run.torque, run.speed.values, time, pack, run.geometry)
    flux = 400.0 * 20.0 / 8 / 2 / run.geometry.area_m2
    excess = face_excess(np.array([flux]), 2.4e-3, 0.8e-3, 45.0)[0]
    assert moved.values[-1] - 80.0 == pytest.approx(excess, rel=1e-9)
    assert moved.sources[-1].id == "plate-temperature:conduction:P1"
    assert moved.sensitivity[-1, -1] == pytest.approx(0.5 / np.sqrt(3) * excess)
    untouched = at_the_face(
        run.temperature, run.torque, run.speed.values, time, hand_pack(), run.geometry
    )
    assert untouched is run.temperature


def test_the_profile_takes_its_time_to_settle(make_run):
    """Half of 2.4 mm squared over 12 mm^2/s, 0.12 s; the excess grows in proportion until then."""
    time = np.arange(0.0, 3.0, 0.01)
    torque = np.where(time >= 1.0, 400.0, 0.0)
    run = make_run(time, torque, 20e3, 20.0)
    pack = hand_pack(
        plate_thickness_mm=2.4, thermocouple_depth_mm=0.8, plate_conductivity_w_mk=45.0
    )
    moved = at_the_face(run.temperature, run.torque, run.speed.values, time, pack, run.geometry)
    excess = (moved.values - 80.0) / (moved.values[-1] - 80.0)
    first = int(np.flatnonzero(torque)[0])
    assert excess[:first] == pytest.approx(np.zeros(first), abs=1e-12)
    assert excess[first : first + 12] == pytest.approx(np.arange(1, 13) / 12, rel=1e-9)
    assert excess[first + 12 :] == pytest.approx(np.ones(time.size - first - 12), rel=1e-9)
