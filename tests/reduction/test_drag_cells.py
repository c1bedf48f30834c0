"""Half seconds of a run without load, and what its zero leaves unknown."""

from dataclasses import replace

import numpy as np
import pytest

from rigdata.errors import ReductionError
from rigdata.reduction.drag_cells import drag_data
from rigdata.reduction.zero import PackZero, Zero

TIME = np.arange(0.0, 12.0, 0.01)
SPEED = np.where(TIME < 2.0, 0.0, 2.0 * (TIME - 2.0))
TORQUE = np.where(TIME < 2.0, 0.0, 0.5 + 0.03 * SPEED)


def zero(drift, u=0.03, dof=20.0):
    return Zero(np.array([1.0, 11.0]), np.array([0.4, 0.4 + drift]), u, dof, np.zeros((0, 2)))


def test_cells_of_half_a_second_where_it_slips(make_run):
    found = drag_data(make_run(TIME, TORQUE, 0.0, SPEED, procedure="drag"))
    assert (found.run, found.pack) == ("R1", "P1")
    assert found.speed.size == 20
    # from 4 to 4.5 s at 2 rad/s^2: 49 steps of 0.01 s on average half way
    cell = int(np.argmin(np.abs(found.speed - 4.5)))
    assert found.speed[cell] == pytest.approx(4.49)
    assert found.torque[cell] == pytest.approx(0.5 + 0.03 * 4.49)
    assert found.acceleration[cell] == pytest.approx(2.0)
    assert found.oil_temperature == pytest.approx(np.full(20, 70.0))


def test_cells_count_from_the_start_of_the_log(make_run):
    first, later = (
        drag_data(make_run(TIME + start, TORQUE, 0.0, SPEED, procedure="drag"))
        for start in (0.0, 100.3)
    )
    assert later.speed == pytest.approx(first.speed)


@pytest.mark.parametrize(("share", "cells"), [(0.0105, 24), (0.0095, 12)])
def test_slip_is_more_than_a_hundredth_of_the_top(make_run, share, cells):
    speed = np.where(TIME < 6.0, share * 40.0, 40.0)
    found = drag_data(make_run(TIME, TORQUE, 0.0, speed, procedure="drag"))
    assert found.speed.size == cells


def test_the_zero_is_known_no_better_than_its_drift(make_run):
    run = make_run(TIME, TORQUE, 0.0, SPEED, procedure="drag")
    found = drag_data(replace(run, zeros=PackZero("R1", zero(-0.24), zero(99.0))))
    # anywhere within 0.24: sqrt(0.03^2 + 0.24^2 / 12)
    assert found.u_zero == pytest.approx(np.sqrt(0.0009 + 0.0048))
    # Welch and Satterthwaite, the drift with infinitely many
    assert found.zero_dof == pytest.approx(20.0 * 0.0057**2 / 0.0009**2)
    still = drag_data(replace(run, zeros=PackZero("R1", zero(0.0), zero(99.0))))
    assert (still.u_zero, still.zero_dof) == (pytest.approx(0.03), pytest.approx(20.0))


def test_plates_that_never_slip_show_no_drag(make_run):
    with pytest.raises(ReductionError, match="slip speed never leaves zero"):
        drag_data(make_run(TIME, 0.0 * TIME, 0.0, 0.0, procedure="drag"))
