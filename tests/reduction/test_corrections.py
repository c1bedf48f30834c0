"""Corrections of made-up runs against what went into them."""

from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.calibration.signals import Signal, Signals
from rigdata.errors import ReductionError
from rigdata.reduction.corrections import correct, less, local_slope
from rigdata.reduction.drag import Drag
from rigdata.reduction.load_path import face_load_factor
from rigdata.uncertainty.sources import Effect, Scope, Source
from tests.reduction.conftest import hand_pack

STEP = 0.01
TIME = np.arange(0.0, 20.0, STEP)
SPEED = np.interp(TIME, [0.0, 5.0, 9.0, 13.0, 17.0, 20.0], [0.0, 0.0, 20.0, 20.0, 0.0, 0.0])
LOAD = np.interp(TIME, [0.0, 3.0, 4.0, 18.0, 18.5, 20.0], [0.0, 0.0, 8e3, 8e3, 0.0, 0.0])
INERTIA, MU, RADIUS = 0.12, 0.14, 0.04789473684
ZERO = Source("drag:D1:zero", Scope.RUN, Effect.ADDITIVE, "zero")
RIG = SimpleNamespace(inertia_kg_m2=INERTIA, inertia_u_kg_m2=0.003, channels={}, path="rig.toml")
DRAG = Drag(
    runs=("D1",),
    terms="w",
    coefficients=np.array([0.03]),
    factor=np.array([[0.002]]),
    u_zero=0.04,
    residual=0.0,
    top_speed=20.0,
    coldest=60.0,
    hottest=80.0,
    sources=(Source("drag:D1:1", Scope.RUN, Effect.ADDITIVE, "fit"), ZERO),
    borrowed_u=0.0,
    basis=lambda speed, _oil: speed[None, :],
)


def channel(name, values, good=None, sources=(), rows=None):
    good = np.ones(TIME.size, bool) if good is None else good
    rows = np.zeros((len(sources), TIME.size)) if rows is None else rows
    return Signal(name, values, good, sources, rows)


def corrected(
    torque, *, load=LOAD, drag=DRAG, oil=70.0, of=None, procedure="speed-sweep", **channels
):
    signals = {
        "torque": channel("torque", torque),
        "clamp_load": channel("clamp_load", load),
        "slip_speed": channel("slip_speed", SPEED),
        "plate_temperature": channel("plate_temperature", np.full(TIME.size, 80.0)),
        "oil_temperature": channel("oil_temperature", np.full(TIME.size, oil)),
    }
    read = Signals(
        run="R1",
        time_s=TIME,
        frame_s=STEP,
        channels={**signals, **channels},
        n_samples=np.ones(TIME.size, np.int64),
        counts={},
        notices=(),
        n_rows=TIME.size,
        sample_s=STEP,
        sha256="",
    )
    run = SimpleNamespace(id="R1", pack="P1", procedure=procedure)
    return correct(read, run, of or hand_pack(), RIG, drag, None)


def test_what_the_cell_reads_beside_friction_is_taken_off():
    friction = MU * 8 * RADIUS * LOAD * np.sign(SPEED)
    acceleration = np.gradient(SPEED, STEP)
    reading = friction + 1.5 + 0.03 * SPEED + INERTIA * acceleration
    found = corrected(reading)
    # Away from the corners, about which the slope is one over a fifth of a second.
    corners = np.array([5.0, 9.0, 13.0, 17.0])
    clear = np.min(np.abs(TIME[:, None] - corners), axis=1) > 0.2
    assert found.torque.values[clear] == pytest.approx(friction[clear], abs=1e-6)
    assert found.tared_torque == pytest.approx(reading - 1.5, abs=1e-9)
    assert found.load.values == pytest.approx(LOAD, abs=1e-9)
    assert found.step_s == pytest.approx(STEP)


def _notices_with(monkeypatch, corner):
    with monkeypatch.context() as patch:
        patch.setitem(RIG.channels, "torque", SimpleNamespace(low_pass_hz=corner, constant=None))
        return corrected(np.zeros(TIME.size), drag=None).notices


def test_a_channel_goes_through_its_filter_but_not_in_a_breakaway(monkeypatch):
    hum = 1.5 + np.sin(2 * np.pi * 25.0 * TIME)
    monkeypatch.setitem(RIG.channels, "torque", SimpleNamespace(low_pass_hz=5.0, constant=None))
    left = 2.0**-12.5  # of a swing at five times the corner
    filtered = corrected(hum, drag=None).tared_torque[100:-100]
    assert np.abs(filtered).max() == pytest.approx(left, rel=0.05)
    (told,) = _notices_with(monkeypatch, 60.0)
    assert "50 Hz" in told.what
    unfiltered = corrected(hum, drag=None, procedure="breakaway").tared_torque
    assert np.ptp(unfiltered) == pytest.approx(2.0, abs=1e-6)


def test_what_comes_in_with_it():
    found = corrected(MU * 8 * RADIUS * LOAD * np.sign(SPEED) + 1.5 + 0.03 * SPEED)
    rows = dict(zip((s.id for s in found.torque.sources), found.torque.sensitivity, strict=True))
    at = int(7.0 / STEP)  # 10 rad/s, rising by 5 rad/s^2
    assert rows["inertia"][at] == pytest.approx(-0.003 * 5.0)
    assert rows["drag:D1:1"][at] == pytest.approx(-0.002 * 10.0)
    assert rows["drag:D1:zero"][at] == pytest.approx(-0.04)
    rows = dict(zip((s.id for s in found.load.sources), found.load.sensitivity, strict=True))
    # A load read a millisecond late is short of what it rises in that time: 8 N of 8000 N/s.
    assert rows["alignment"][int(3.5 / STEP)] == pytest.approx(-8.0, rel=1e-6)


def test_slope_over_a_fifth_of_a_second():
    values = 3.0 * TIME**2
    slope = local_slope(TIME, values, 0.2)
    inner = slice(10, -10)  # a straight line about each frame has the slope there
    assert slope[inner] == pytest.approx(6.0 * TIME[inner], rel=1e-6)
    # At the ends from the half that is there: 11 frames, whose middle is at 0.05 s.
    assert slope[0] == pytest.approx(6.0 * 0.05, rel=1e-6)
    assert slope[-1] == pytest.approx(6.0 * (TIME[-1] - 0.05), rel=1e-6)
    step = local_slope(TIME, (TIME > 10.0) * 1.0, 0.2)
    assert np.flatnonzero(np.abs(step) > 1e-6).size == 20
    # least squares of 21 frames: 10 ones and 11 noughts, sum t y / sum t^2
    assert step.max() == pytest.approx(55 / 770 / STEP, rel=1e-6)


def test_slope_far_from_nought_keeps_its_digits():
    late, high = 1e6 + TIME, 1e6 + 3.0 * TIME
    assert local_slope(late, high, 0.2) == pytest.approx(np.full(TIME.size, 3.0), rel=1e-6)


def test_inertia_and_delay_act_within_a_tenth_of_a_second():
    found = corrected(np.zeros(TIME.size))
    for signal, source, corner in ((found.torque, "inertia", 5.0), (found.load, "alignment", 3.0)):
        rows = dict(zip((s.id for s in signal.sources), signal.sensitivity, strict=True))
        first = int(np.flatnonzero(np.abs(rows[source]) > 1e-6)[0])
        # the line about this frame reaches ten frames on, to the first past the corner
        assert first == round(corner / STEP) + 1 - 10


def test_difference_of_signals_by_hand():
    one = channel("torque", np.full(TIME.size, 5.0), None, (ZERO,), np.full((1, TIME.size), 0.1))
    other = Source("x", Scope.RUN, Effect.ADDITIVE, "x")
    found = less(one, np.full(TIME.size, 2.0), (other,), np.full((1, TIME.size), -0.3))
    assert found.values[0] == 3.0
    assert found.sensitivity[:, 0].tolist() == [0.1, -0.3]
    assert [s.id for s in found.sources] == ["drag:D1:zero", "x"]


def test_frames_that_are_not_good_are_bridged():
    good = np.ones(TIME.size, bool)
    good[700:720] = False
    wrong = np.where(good, SPEED, 500.0)
    found = corrected(np.zeros(TIME.size), slip_speed=channel("slip_speed", wrong, good))
    assert found.speed.values == pytest.approx(SPEED, abs=1e-9)
    assert not found.usable[705]
    assert found.usable[699]
    nothing = channel("slip_speed", wrong, np.zeros(TIME.size, bool))
    with pytest.raises(ReductionError, match="slip_speed has no good sample"):
        corrected(np.zeros(TIME.size), slip_speed=nothing)


def test_standstill_and_pressed_pack():
    rng = np.random.default_rng(2)
    noisy = SPEED + 0.01 + rng.normal(0.0, 0.002, TIME.size)
    found = corrected(np.zeros(TIME.size), slip_speed=channel("slip_speed", noisy))
    # mean and three standard deviations of the idle reading
    assert found.rest_speed == pytest.approx(0.016, rel=0.1)
    pressed = TIME[found.pressed]
    assert pressed[0] == pytest.approx(3.0 + 0.04, abs=2 * STEP)
    assert pressed[-1] == pytest.approx(18.5 - 0.02, abs=2 * STEP)


def test_pressed_is_more_than_a_twenty_fifth_of_the_top_load(make_run):
    load = np.repeat([312.0, 328.0, 8e3], 400)  # 3.9, 4.1 and 100 %
    load[-1] = 30e3  # a spike is not the top load
    run = make_run(np.arange(load.size) * STEP, 0.0, load, 1.0)
    assert run.pressed.tolist() == [False] * 400 + [True] * 800


def test_load_on_the_faces():
    """On loading less than the clamp load, on unloading more; half of that is not known."""
    splined = hand_pack(spline_radius_mm=38.0, spline_friction=0.1)
    factor = face_load_factor(MU, 0.1, RADIUS, 0.038, 8)
    more = face_load_factor(MU, -0.1, RADIUS, 0.038, 8)
    friction = MU * 8 * RADIUS * factor * LOAD
    found = corrected(friction, drag=None, of=splined, slip_speed=channel("slip_speed", 0.0 * TIME))
    rising, falling = int(3.5 / STEP), int(18.25 / STEP)
    assert found.load.values[rising] == pytest.approx(factor * 4000.0, rel=1e-3)
    assert found.load.values[falling] == pytest.approx(more * 4000.0, rel=1e-3)
    row = found.load.sensitivity[-1]
    assert found.load.sources[-1].id == "spline-friction:P1"
    # a spline that rubs more takes more: rectangular, half of the loss
    assert row[rising] == pytest.approx(-0.5 / 3**0.5 * (1 - factor) * 4000.0, rel=1e-3)
    assert row[falling] == pytest.approx(-0.5 / 3**0.5 * (1 - more) * 4000.0, rel=1e-3)


def test_drag_that_is_extrapolated_is_told():
    told = corrected(np.zeros(TIME.size), oil=90.0).notices
    assert [n.what for n in told if "extrapolated" in n.what] == [
        "drag is extrapolated: oil from 90 to 90 degC, drag known from 60 to 80 degC"
    ]
    assert not [n for n in corrected(np.zeros(TIME.size)).notices if "extrapolated" in n.what]
