from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.campaign.rig import LogSettings, Rig
from rigdata.errors import Severity
from rigdata.reduction.drag import DragData
from rigdata.reduction.inertia import Inertia, found_inertia, with_found_inertia
from rigdata.uncertainty.effective_size import effective_size

STATED = Inertia(0.120, 0.006)


def coast_down(error=0.0, *, noise=0.05, seed=0, rate=30.0, smooth=1):
    """Spin up quickly, coast down slowly; the torque less the stated J dw/dt is left.

    Its noise is a mean of `smooth` neighbours.
    """
    time = np.arange(0.0, 40.0, 0.25)
    speed = np.interp(time, [0, 1, 10, 11, 12, 40], [1, 30, 30, 1, rate, 1])
    acceleration = np.gradient(speed, time)
    drag = 0.8 + 0.12 * speed
    torque = drag + error * acceleration
    scatter = np.random.default_rng(seed).normal(0, noise, time.size)
    torque += np.convolve(scatter, np.ones(smooth) / smooth, "same")
    return DragData("D1", "P1", speed, acceleration, np.full(time.size, 70.0), torque, 0.01, 0.02)


def rig(u=STATED.u):
    return Rig(
        path=Path("rig.toml"),
        name="rig",
        inertia_kg_m2=STATED.value,
        inertia_u_kg_m2=u,
        log=LogSettings(time_column="t"),
        channels={},
        sha256="",
    )


@pytest.mark.parametrize("error", [-0.008, 0.0, 0.005])
def test_the_error_of_the_stated_inertia_is_found(error):
    found = found_inertia([coast_down(error)], None, STATED)
    assert found.value - STATED.value == pytest.approx(error, abs=4 * found.u)
    assert found.u < 0.15 * STATED.u


def test_stated_uncertainty_is_the_scatter():
    found = [found_inertia([coast_down(0.004, seed=s)], None, STATED) for s in range(200)]
    assert np.std([f.value for f in found]) == pytest.approx(np.mean([f.u for f in found]), rel=0.3)


def change_of(run):
    """Change of the inertia and its u: one least-squares fit of drag and inertia together."""
    terms = np.stack([np.ones(run.speed.size), run.speed, run.acceleration], axis=1)
    theta, (squares,), _, _ = np.linalg.lstsq(terms, run.torque)
    residual = run.torque - terms @ theta
    independent = effective_size(residual).n_effective
    variance = squares / (residual.size - 3) * residual.size / independent
    return theta[2], np.sqrt(variance * np.linalg.inv(terms.T @ terms)[2, 2])


def test_it_is_that_of_one_fit_for_each_run_averaged_by_their_weights():
    runs = [coast_down(0.004, seed=1), coast_down(0.004, seed=2, noise=0.15, smooth=4)]
    (a, u_a), (b, u_b) = (change_of(run) for run in runs)
    one = found_inertia(runs[:1], None, STATED)
    assert one.value == pytest.approx(0.120 + a, rel=1e-9)
    assert one.u == pytest.approx(u_a, rel=1e-9)
    both = found_inertia(runs, None, STATED)
    assert both.value == pytest.approx(
        0.120 + (a / u_a**2 + b / u_b**2) / (1 / u_a**2 + 1 / u_b**2), rel=1e-9
    )
    assert both.u == pytest.approx(u_a * u_b / np.hypot(u_a, u_b), rel=1e-9)


def test_stated_and_found_are_averaged_by_their_weights():
    found = found_inertia([coast_down(0.0005)], None, STATED)
    u = 1.6 * found.u
    sharper, _, _ = with_found_inertia(rig(u), [coast_down(0.0005)], None)
    assert sharper.inertia_kg_m2 == pytest.approx((2.56 * found.value + 0.120) / 3.56, rel=1e-9)
    assert sharper.inertia_u_kg_m2 == pytest.approx(u / np.sqrt(3.56), rel=1e-9)


@pytest.mark.parametrize(("share", "used"), [(0.665, True), (0.735, False)])
def test_it_is_used_where_it_is_known_to_seven_tenths_of_the_stated_u(share, used):
    found = found_inertia([coast_down()], None, STATED)
    kept, _, notes = with_found_inertia(rig(found.u / share), [coast_down()], None)
    assert (kept.inertia_kg_m2 != STATED.value) is used
    assert bool(notes) is used


@pytest.mark.parametrize(("times", "severity"), [(2.85, Severity.NOTE), (3.15, Severity.WARNING)])
def test_three_standard_uncertainties_apart_contradict(times, severity):
    found = found_inertia([coast_down(0.02)], None, STATED)
    apart = (found.value - STATED.value) / times
    run = rig(np.sqrt(apart**2 - found.u**2))
    assert [n.severity for n in with_found_inertia(run, [coast_down(0.02)], None)[2]] == [severity]


def test_it_replaces_the_stated_value_and_the_torque_follows():
    run = coast_down(0.005)
    sharper, (moved,), notes = with_found_inertia(rig(), [run], None)
    assert sharper.inertia_kg_m2 == pytest.approx(0.125, abs=5e-4)
    assert sharper.inertia_u_kg_m2 < 0.15 * STATED.u
    taken = run.torque - moved.torque
    assert taken == pytest.approx((sharper.inertia_kg_m2 - 0.120) * run.acceleration)
    assert [n.severity for n in notes] == [Severity.NOTE]


def test_a_contradiction_is_a_warning_and_changes_nothing():
    same, runs, notes = with_found_inertia(rig(), [coast_down(0.05)], None)
    assert same.inertia_kg_m2 == STATED.value
    assert len(runs) == 1
    assert [n.severity for n in notes] == [Severity.WARNING]


def test_a_run_at_steady_speeds_says_nothing():
    run = coast_down()
    level = np.repeat([5.0, 10.0, 20.0, 30.0], run.speed.size // 4)
    flat = DragData("D1", "P1", level, 0 * level, 0 * level + 70, 0.8 + 0.1 * level, 0.01, 0.02)
    assert found_inertia([flat], None, STATED) is None
    assert with_found_inertia(rig(), [flat], None)[2] == []


def test_nothing_is_found_without_runs():
    assert found_inertia([], SimpleNamespace(), STATED) is None
