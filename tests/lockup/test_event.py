"""Heat of a slip event: energy balance, fade, the end of what was tested."""

from dataclasses import replace

import numpy as np
import pytest
from hand_tables import made_table

from rigdata.errors import TableError
from rigdata.lockup.event import slip_event


def test_all_friction_power_is_in_the_plates(pack, table):
    event = slip_event(pack, table, 300.0, 20.0, 60.0, 8.0)
    # each side slips at half the difference of 20 rad/s
    assert event.power_w == pytest.approx(10.0 * event.lock.lock_nm)
    stored = 1.1 * 480.0 * (event.lock.temperature_c - 60.0)
    assert event.work_kj[1:] * 1e3 == pytest.approx(stored[1:], rel=1e-4)
    mean = np.trapezoid(event.power_w, event.time_s)
    assert event.work_kj[-1] * 1e3 == pytest.approx(mean, rel=1e-4)


def test_friction_that_falls_with_heat_fades_as_the_closed_form(pack):
    """d theta / dt = P0 exp(b (theta - 80)) / (m c) has theta(t) in closed form."""
    b = -0.004
    event = slip_event(pack, made_table(b=b), 300.0, 20.0, 80.0, 15.0)
    rate = event.power_w[0] / (1.1 * 480.0)
    exact = 80.0 - np.log(1.0 - b * rate * event.time_s) / b
    assert event.lock.temperature_c == pytest.approx(exact, abs=0.05)
    assert event.lock.lock_nm[-1] < 0.9 * event.lock.lock_nm[0]


def test_cooling_brings_it_to_rest(pack):
    event = slip_event(pack, made_table(), 100.0, 2.0, 60.0, 2000.0, cooling_w_k=20.0)
    assert event.lock.temperature_c[-1] - 60.0 == pytest.approx(event.power_w[-1] / 20.0, rel=1e-3)


def test_the_event_ends_where_plates_leave_what_was_tested(pack, table):
    event = slip_event(pack, table, 300.0, 40.0, 120.0, 60.0)
    assert event.ended_s is not None
    assert 2.0 < event.ended_s < 4.0
    assert event.time_s[-1] == event.ended_s
    assert event.lock.temperature_c[-1] == pytest.approx(160.0, abs=0.01)
    with pytest.raises(TableError, match="outside what was tested"):
        slip_event(pack, table, 300.0, 40.0, 220.0, 60.0)


def test_without_their_mass_the_plates_cannot_be_heated(pack, table):
    bare = replace(pack, plates=replace(pack.plates, mass_kg=None))
    with pytest.raises(TableError, match="mass_kg"):
        slip_event(bare, table, 300.0, 20.0, 60.0, 8.0)
