import numpy as np
import pytest

from rigdata.simulation.drive import CompliantDrive, SlipTable

STEP = 0.002
FLAT = SlipTable(log_low=np.log(1e-3), step=1.0, shape=(1.0, 1.0))


def turn(damping=45.0, ageing=0.0, static=330.0, shape=FLAT, step=STEP):
    drive = CompliantDrive(2500.0, damping, 0.12)
    count = round(4.0 / step)
    speed = np.where(np.arange(count) * step >= 1.0, 0.2, 0.0)
    flat = np.full(count, 300.0)
    return drive.turn(
        speed, flat, np.full(count, static), np.zeros(count), shape, ageing=ageing, step_s=step
    )


def test_winds_up_at_its_stiffness_until_it_breaks_away():
    torque, speed = turn()
    onset = int(np.argmax(speed > 0.0))
    climb = np.diff(torque[520 : onset - 2]) / STEP
    assert climb == pytest.approx(2500.0 * 0.2)
    assert torque[:onset].max() == pytest.approx(330.0)
    assert np.all(speed[:onset] == 0.0)


def test_settles_to_kinetic_friction_at_the_speed_of_the_drive():
    torque, speed = turn()
    assert torque[-100:] == pytest.approx(300.0, abs=0.05)
    assert speed[-100:] == pytest.approx(0.2, abs=1e-3)


def test_slip_obeys_the_equation_of_motion():
    # Right after breakaway the drive line's torque is J d(omega)/dt plus friction.
    torque, speed = turn(damping=2.0, step=2e-4)
    onset = int(np.argmax(speed > 0.0))
    there = slice(onset + 2, onset + 80)
    gain = np.gradient(speed, 2e-4)[there]
    assert np.ptp(gain) > 200.0
    assert torque[there] == pytest.approx(300.0 + 0.12 * gain, abs=0.5)


def test_ageing_raises_the_peak():
    young, _ = turn()
    old, speed = turn(ageing=0.02)
    rest = np.argmax(speed > 0.0) * STEP
    assert old.max() / young.max() == pytest.approx(1.0 + 0.02 * np.log(rest), abs=2e-3)


def test_falling_friction_with_little_damping_sticks_and_slips():
    falling = SlipTable(log_low=np.log(1e-3), step=np.log(1e3) / 3, shape=(1.0, 0.9, 0.8, 0.7))
    _, speed = turn(damping=2.0, static=310.0, shape=falling)
    starts = np.flatnonzero((speed[1:] > 0.0) & (speed[:-1] == 0.0))
    assert starts.size > 3


def test_table_is_held_at_its_ends():
    table = SlipTable(log_low=0.0, step=1.0, shape=(1.0, 2.0, 4.0))
    assert table.at(0.0) == 1.0
    assert table.at(np.exp(1.5)) == pytest.approx(3.0)
    assert table.at(1e6) == 4.0
