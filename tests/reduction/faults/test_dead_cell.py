"""When samples without a reading are a cell that is dead, and not samples lost here and there."""

from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.logs.flags import Flag
from rigdata.reduction.faults.dead_cell import _blank, _jumps
from rigdata.reduction.stretches import Stretch

MISSING = Flag.MISSING.value


def blank(lost):
    lost = np.array([mark == "x" for mark in lost])
    frames = SimpleNamespace(
        flags={"torque": np.where(lost, MISSING, 0).astype(np.uint8)},
        values={"torque": np.where(lost, np.nan, 1.0)},
    )
    return _blank(SimpleNamespace(frames=frames, frame_at=lambda _seconds: 3), "torque")


@pytest.mark.parametrize("lost", ["..x..x....", "..xx.x....", "..xxx.....", "x..x..x..."])
def test_lost_samples_here_and_there_are_no_dead_cell(lost):
    assert not blank(lost)


@pytest.mark.parametrize("lost", ["..xxxx....", "..xx.xx...", "..x.xx.x.."])
def test_a_stretch_of_them_is_even_where_one_comes_through(lost):
    (found,) = blank(lost)
    assert (found.start, found.stop) == (lost.index("x"), lost.rindex("x") + 1)
    assert isinstance(found, Stretch)


@pytest.mark.parametrize(
    ("course", "jumps"),
    [
        ([30.0] * 10 + [0.0] * 20 + [30.0] * 10, True),  # an open cable, and plugged in again
        ([30.0] * 10 + [0.0] * 30, True),
        ([*np.linspace(30.0, 6.0, 10)] + [0.0] * 20 + [*np.linspace(-6.0, -30.0, 10)], False),
        ([0.0] * 40, True),  # for as long as the plates slip
    ],
)
def test_an_open_cable_comes_at_once(course, jumps):
    raw = np.array(course)
    nothing = np.flatnonzero(raw == 0.0)
    part = Stretch(int(nothing[0]), int(nothing[-1]) + 1)
    assert _jumps(raw, np.ones(raw.size, bool), part, noise=1.0) is jumps
