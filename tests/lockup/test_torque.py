"""Lock torque: limits, balances, intervals."""

from dataclasses import replace

import numpy as np
import pytest
from hand_tables import made_table

from rigdata.errors import TableError
from rigdata.lockup.torque import COAST, axial_force, lock_torque, slip_speed, speed_difference


def test_the_ramps_press_as_a_free_body_of_the_ring_says(pack):
    """A cross shaft pushes each ring along its ramp: solve its balance, with friction on the ramp.

    Normal force N on a flank at theta from the plane of rotation, friction mu N up the
    flank against the ring's spreading: tangential and axial balance of one ring.
    """
    torque, mu = 400.0, pack.ramps.friction
    theta = np.radians(pack.ramps.drive_deg)
    tangential = torque / (pack.ramps.rings * pack.ramps.radius_mm * 1e-3)
    # tangential = N (sin(theta) + mu cos(theta)); axial = N (cos(theta) - mu sin(theta))
    normal = tangential / (np.sin(theta) + mu * np.cos(theta))
    axial = normal * (np.cos(theta) - mu * np.sin(theta))
    assert axial_force(pack, torque, "drive") == pytest.approx(pack.preload.force_n + axial)


def test_ramps_of_90_deg_leave_the_preload_alone(pack):
    straight = replace(pack, ramps=replace(pack.ramps, drive_deg=90.0))
    assert axial_force(straight, 800.0, "drive") == pytest.approx(pack.preload.force_n)
    smooth = replace(straight, ramps=replace(straight.ramps, friction=0.0))
    assert axial_force(smooth, 800.0, "drive") == pytest.approx(pack.preload.force_n, rel=1e-12)


def test_ramps_that_friction_holds_add_nothing(pack):
    """phi = 90 deg - theta: the ring does not move."""
    held = replace(pack, ramps=replace(pack.ramps, friction=np.tan(np.radians(45.0))))
    assert held.ramp_gain("drive") == pytest.approx(0.0, abs=1e-12)
    beyond = replace(pack, ramps=replace(pack.ramps, friction=0.99, drive_deg=60.0))
    assert beyond.ramp_gain("drive") == 0.0


def test_no_friction_no_lock(pack):
    slippery = lock_torque(pack, made_table(mu0=1e-9), [200.0], 80.0)
    assert slippery.lock_nm[0] == pytest.approx(0.0, abs=1e-5)
    assert slippery.bias_ratio[0] == pytest.approx(1.0)


def test_lock_is_that_of_the_formula(pack, table):
    lock = lock_torque(pack, table, [0.0, 300.0, 900.0], 100.0, speed_difference_rad_s=8.0)
    force = 5000.0 + pack.ramp_gain("drive") * np.array([0.0, 300.0, 900.0])
    pressure = force / pack.area_m2 * 1e-6
    speed = 0.5 * 8.0 * pack.radius_m
    mu = 0.12 * (speed / 0.1) ** 0.03 * np.exp(-0.001 * 20.0) * pressure**-0.05
    assert lock.pressure_mpa == pytest.approx(pressure)
    assert lock.lock_nm == pytest.approx(mu * force * 8 * pack.radius_m, rel=1e-3)


def test_power_goes_to_the_outputs_and_into_heat(pack, table):
    """Input power is that of both outputs and the friction of the plates, to rounding."""
    torque, case, apart = 900.0, 60.0, 8.0
    lock = lock_torque(pack, table, torque, 80.0, speed_difference_rad_s=apart)
    assert not lock.solid[0]
    slow, fast = lock.outputs_nm[:, 0]
    output = slow * (case - apart / 2) + fast * (case + apart / 2)
    heat = lock.lock_nm[0] * slip_speed(pack, apart) / pack.radius_m
    assert output + heat == pytest.approx(torque * case, rel=1e-12)
    assert slow / fast == pytest.approx(lock.bias_ratio[0], rel=1e-12)


def test_solid_lock_is_marked(pack, table):
    lock = lock_torque(pack, table, [0.0, 100.0, 900.0], 80.0)
    assert lock.solid.tolist() == [True, True, False]
    assert np.isnan(lock.fraction[0])
    assert lock.fraction[1] == 1.0
    assert lock.bias_ratio[1] == np.inf
    assert lock.fraction[2] == pytest.approx(lock.lock_nm[2] / 900.0)


def test_coast_ramps_are_steeper_and_lock_less(pack, table):
    drive, coast = (lock_torque(pack, table, 600.0, 80.0, side=s).lock_nm for s in ("drive", COAST))
    assert coast < drive


def test_splines_take_load_on_the_way_through_the_pack(pack, table):
    """a = mu mu_s r_e / r_spline; each two-faced plate passes on (1 - a) / (1 + a) of its load."""
    plates = replace(pack.plates, spline_radius_mm=36.0, spline_friction=0.15)
    rubbing = lock_torque(replace(pack, plates=plates), table, 400.0, 80.0)
    a = rubbing.mu[0] * 0.15 * pack.radius_m / 0.036
    ratio = (1 - a) / (1 + a)
    share = np.mean(ratio ** np.arange(4))
    assert 0.8 < share < 0.99
    expected = rubbing.mu[0] * rubbing.axial_force_n[0] * share * pack.arm_m
    assert rubbing.lock_nm[0] == pytest.approx(expected, rel=1e-9)
    assert rubbing.pressure_mpa[0] == pytest.approx(
        rubbing.axial_force_n[0] * share / pack.area_m2 * 1e-6, rel=1e-9
    )


@pytest.mark.parametrize("torque", [0.0, 300.0, 900.0])
def test_the_interval_is_that_of_100_000_draws(pack, torque):
    table = made_table(c=-0.08, shares={"gain@1": 0.025, "": 0.015})
    lock = lock_torque(pack, table, torque, 80.0)
    rng = np.random.default_rng(8)
    n = 100_000
    mu_error = 1.0 + np.hypot(0.025, 0.015) * rng.normal(size=n)
    preload = 5000.0 + 150.0 * rng.normal(size=n)
    friction = 0.09 + 0.02 * rng.normal(size=n)
    angle = np.radians(45.0) + np.arctan(friction)
    force = preload + torque / (2 * 0.040) / np.tan(angle)
    mu = 0.12 * (force / pack.area_m2 * 1e-6) ** -0.08 * mu_error
    drawn = mu * force * pack.arm_m
    assert lock.u_nm[0] == pytest.approx(drawn.std(), rel=0.03)
    low, high = np.quantile(drawn, [0.025, 0.975])
    assert lock.high_nm[0] - lock.low_nm[0] == pytest.approx(high - low, rel=0.03)


def test_one_more_pack_is_wider(pack):
    lock = lock_torque(pack, made_table(pack_sd=0.04), 300.0, 80.0)
    assert lock.next_high_nm > lock.high_nm
    assert lock.next_low_nm < lock.low_nm


def test_what_was_not_tested_has_no_number(pack, table):
    lock = lock_torque(pack, table, [300.0, 2500.0], 80.0)
    assert lock.tested.tolist() == [True, False]
    assert np.isnan(lock.lock_nm[1])
    assert np.isnan(lock.next_low_nm[1])
    asked = lock_torque(pack, table, [300.0, 2500.0], 80.0, outside=True)
    assert np.isfinite(asked.lock_nm).all()
    assert not asked.tested[1]
    with pytest.raises(TableError, match=r"face pressure .* outside what was tested"):
        lock_torque(pack, table, 2500.0, 80.0)


def test_speeds_of_plates_and_outputs(pack):
    assert slip_speed(pack, speed_difference(pack, 0.3)) == pytest.approx(0.3)


def test_what_one_standard_deviation_of_each_input_moves(pack):
    """More preload locks more; more friction on the ramps presses, and so locks, less."""
    lock = lock_torque(pack, made_table(), [400.0], 80.0)
    moved = dict(zip(lock.causes, lock.moved_nm[:, 0], strict=True))
    arm = 8 * 0.12 * 2 / 3 * (55.0**3 - 40.0**3) / (55.0**2 - 40.0**2) * 1e-3
    assert moved["preload of made by hand"] == pytest.approx(arm * 150.0, rel=1e-6)
    # 400 N m over two rings at 40 mm; cot(45 deg + atan mu), mu from 0.09 to 0.11
    less, more = (1 / np.tan(np.pi / 4 + np.arctan(mu)) for mu in (0.11, 0.09))
    change = 400.0 / (2 * 0.040) * (less - more)
    assert change < 0.0
    assert moved["ramp friction of made by hand"] == pytest.approx(arm * change, rel=1e-6)
