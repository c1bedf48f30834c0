"""Runs unlike the others, on traits and courses made up for it."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.courses import Course, Strays
from rigdata.reduction.faults.fault import Action, Fault, Kind, Sureness
from rigdata.reduction.faults.traits import Cell, Traits
from rigdata.reduction.faults.unlike import odd_course, zero_drift

TIME = np.linspace(0.0, 100.0, 101)


def trait(run, procedure="speed-sweep", *, pack="A1", torque_drift=0.0, load_drift=0.0, top=None):
    top = top or (6000.0 if procedure not in ("zero", "drag") else 20.0)
    return Traits(
        run=run,
        pack=pack,
        group=("steel", "new"),
        procedure=procedure,
        span=(0.0, 100.0),
        rate_hz=20.0,
        torque=Cell(0.1, 0.1, 0.0, torque_drift, 100.0),
        load=Cell(7.0, 2.0, 0.0, load_drift, top),
        turn=1.0,
        twist=1.0,
        speed_noise=0.1,
        top_speed=50.0,
        still_s=0.0,
        still_from_s=0.0,
        lead_s=1.0,
        trail_s=1.0,
        likeness=np.empty(0),
        busy_end=False,
    )


def campaign(traits, courses=None, faults=()):
    return Compared(traits, {}, courses or {}, faults)


def usual(count=10, procedure="speed-sweep", drift=5.0):
    signs = np.resize([-1.0, 1.0, -0.4, 0.4], count)
    return [
        trait(f"R{i}", procedure, load_drift=drift * s, torque_drift=0.2 * s)
        for i, s in enumerate(signs)
    ]


@pytest.mark.parametrize(("drift", "told"), [(20.0, False), (200.0, True)])
def test_a_zero_drifts_when_it_moves_more_than_in_other_runs_and_by_a_share_of_the_load(
    drift, told
):
    found = list(zero_drift(campaign([*usual(), trait("R99", load_drift=drift)])))
    assert [fault.run for fault in found] == ["R99"] * told


def test_the_load_cell_of_a_run_without_load_is_judged_by_the_usual_load():
    drag = trait("R99", "drag", load_drift=25.0)
    assert not list(zero_drift(campaign([*usual(), drag])))
    assert not list(zero_drift(campaign([*usual(procedure="drag", drift=1.0), drag])))
    far = trait("R99", "drag", load_drift=-120.0)
    (found,) = zero_drift(campaign([*usual(), far]))
    assert (found.run, found.kind, found.channel) == ("R99", Kind.ZERO_DRIFT, "clamp_load")
    assert "2 % of the usual top" in found.evidence


def test_zero_runs_whose_halves_lie_close_make_no_other_run_drift():
    quiet = [trait(f"Z{i}", "zero", torque_drift=0.01 * (-1) ** i) for i in range(30)]
    sweeps = [trait(f"R{i}", torque_drift=0.6 - 0.15 * i) for i in range(9)]
    assert not list(zero_drift(campaign([*quiet, *sweeps])))
    assert list(zero_drift(campaign([*quiet, *sweeps, trait("R99", torque_drift=9.0)])))


def course(rng, wave=0.0, period=60.0, noise=1e-3):
    rest = rng.normal(0.0, noise, (3, TIME.size)) + wave * np.sin(2 * np.pi * TIME / period)
    return Course(TIME, rest, ("X1", "X2", "X3"))


@pytest.fixture
def rng():
    return np.random.default_rng(41)


@pytest.fixture
def courses(rng):
    return {f"R{i}": course(rng) for i in range(10)}


def test_a_slow_wave_that_like_runs_lack_is_an_oscillation_folded(rng, courses):
    courses["R9"] = course(rng, wave=1.5e-3)
    found = list(odd_course(campaign(usual(), courses)))
    assert [(fault.run, fault.kind) for fault in found] == [("R9", Kind.ALIASING)]
    assert "a wave of" in found[0].evidence


DRAG_MOVES = {
    "a wave": (4e-3 * np.sin(2 * np.pi * TIME / 30.0), Kind.ALIASING),
    "a step": (8e-3 * (TIME > 37.0), Kind.ZERO_DRIFT),
    "a steady move": (1.6e-4 * TIME, Kind.ZERO_DRIFT),
}


@pytest.mark.parametrize("form", DRAG_MOVES)
def test_a_wave_through_a_drag_run_is_told_from_a_zero_that_moves(courses, form):
    move, kind = DRAG_MOVES[form]
    courses["R9"] = Course(TIME, courses["R9"].apart + move, courses["R9"].like)
    (found,) = odd_course(campaign(usual(procedure="drag"), courses))
    assert (found.run, found.kind, found.action) == ("R9", kind, Action.LEFT_OUT)


def test_runs_that_stray_alike_are_not_odd(courses):
    assert not list(odd_course(campaign(usual(), courses)))


def test_a_run_without_the_drag_of_its_own_pack_is_not_called_odd(rng, courses):
    courses["R9"] = course(rng, wave=1.5e-3)
    runs = [*usual(9), trait("R9", pack="B2"), trait("D1", "drag", pack="B2")]
    lost = Fault(Kind.CUT_OFF, "D1", "time", 0.0, 9.0, Sureness.CERTAIN, "it ends", Action.LEFT_OUT)
    assert list(odd_course(campaign(runs, courses)))
    assert not list(odd_course(campaign(runs, courses, [lost])))


@pytest.mark.parametrize("period", [25.0, 50.0, 200.0])
def test_the_wave_in_what_is_left_is_found(period):
    rest = 0.01 * np.cos(2 * np.pi * TIME / period + 0.3)
    found, share = Strays(TIME, rest - rest.mean()).wave()
    assert_allclose(found, period, rtol=0.15)
    assert share > 0.97


def test_a_wave_of_few_evenly_spaced_times_is_no_error():
    stray = Strays(np.arange(13.0), np.resize([1.0, -1.0], 13))
    assert 0.0 <= stray.wave()[1] <= 1.0 + 1e-9
