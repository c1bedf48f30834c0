import numpy as np
import pytest

from rigdata.errors import Severity
from rigdata.reduction.load_line import fit_load_line
from rigdata.reduction.load_slope import load_slope_drafts
from rigdata.reduction.windows import load_sweeps


def sweep(make_run, *, mu=0.14, exponent=0.0, offset=0.0, noise=0.0, seed=0):
    """Load up and back between 2 and 16 kN at a held speed, with a torque offset."""
    time = np.arange(0.0, 40.0, 0.02)
    load = np.interp(time, [0, 20, 40], [2e3, 16e3, 2e3])
    run = make_run(time, 0.0, load, 2.0, procedure="load-sweep")
    x = run.geometry.faces * run.geometry.radius_m * load
    middle = run.geometry.faces * run.geometry.radius_m * 6e3
    torque = mu * (x / middle) ** exponent * x + offset
    torque = torque + np.random.default_rng(seed).normal(0, noise, time.size)
    return make_run(time, torque, load, 2.0, procedure="load-sweep")


def true_mu(run, draft, mu=0.14, exponent=0.0):
    middle = 6e3 / run.geometry.area_m2 / 1e6
    return mu * (draft.pressure_mpa / middle) ** exponent


def test_an_offset_does_not_touch_the_coefficient(make_run):
    run = sweep(make_run, offset=25.0, noise=0.5)
    drafts, notices = load_slope_drafts(run, load_sweeps(run))
    assert [d.direction for d in drafts] == ["-", "-"]
    for draft in drafts:
        assert draft.mu == pytest.approx(0.14, rel=2e-3)
    # The ratio of torque to load at the lowest load would be wrong by a fifth.
    assert run.torque.values[0] / run.load.values[0] > 1.18 * run.torque.values.max() / 16e3
    assert [n.severity for n in notices] == [Severity.WARNING]
    assert "25" in notices[0].what


def test_no_offset_gives_no_notice(make_run):
    run = sweep(make_run, noise=0.5)
    assert load_slope_drafts(run, load_sweeps(run))[1] == []


@pytest.mark.parametrize("exponent", [-0.06, 0.05])
def test_a_coefficient_that_moves_with_pressure_is_not_the_tangent(make_run, exponent):
    run = sweep(make_run, exponent=exponent, offset=10.0, noise=0.2)
    drafts, _ = load_slope_drafts(run, load_sweeps(run))
    for draft in drafts:
        assert draft.mu == pytest.approx(true_mu(run, draft, exponent=exponent), rel=2e-3)
    # A straight line would be off by the exponent itself.
    slope = np.polyfit(run.load.values, run.torque.values, 1)[0]
    slope /= run.geometry.faces * run.geometry.radius_m
    assert abs(slope / true_mu(run, drafts[0], exponent=exponent) - 1) > 0.5 * abs(exponent)


def test_stated_uncertainty_and_covariance_are_the_scatter(make_run):
    errors = []
    for seed in range(300):
        run = sweep(make_run, noise=2.0, seed=seed)
        drafts, _ = load_slope_drafts(run, load_sweeps(run))
        errors.append([d.mu - 0.14 for d in drafts])
    intercept = [
        value
        for d in drafts
        for source, value in d.contributions.items()
        if source.kind == "load-intercept"
    ]
    stated = np.diag([d.u_random**2 for d in drafts]) + np.outer(intercept, intercept)
    found = np.cov(np.array(errors).T)
    assert np.mean(errors, axis=0) == pytest.approx([0, 0], abs=5 * np.sqrt(found.max() / 300))
    # 300 draws know a variance to 8 %; the stated one is itself from 60 cells.
    assert np.diag(found) == pytest.approx(np.diag(stated), rel=0.45)
    assert np.sign(found[0, 1]) == np.sign(stated[0, 1])
    assert found[0, 1] == pytest.approx(stated[0, 1], rel=0.6)


def test_gain_and_load_errors_carry_their_sign(make_run):
    run = sweep(make_run)
    drafts, _ = load_slope_drafts(run, load_sweeps(run))
    for draft in drafts:
        by_id = {s.id: c for s, c in draft.contributions.items()}
        assert by_id["torque:T1:slope"] == pytest.approx(0.005 * draft.mu, rel=1e-6)
        assert by_id["clamp-load:L1:slope"] == pytest.approx(-0.003 * draft.mu, rel=1e-3)


def test_fading_on_the_way_does_not_bend_into_the_intercept(make_run):
    """The plates warm up by 15 K under way while mu fades by 0.1 % a kelvin."""
    time = np.arange(0.0, 40.0, 0.02)
    load = np.interp(time, [0, 20, 40], [2e3, 16e3, 2e3])
    warmth = 80 + 15 * (1 - np.exp(-time / 15))
    fade = np.exp(-1e-3 * (warmth - 80))
    probe = make_run(time, 0.0, load, 2.0)
    torque = 0.14 * fade * probe.geometry.faces * probe.geometry.radius_m * load
    torque += np.random.default_rng(3).normal(0, 0.3, time.size)
    run = make_run(time, torque, load, 2.0, temperature=warmth, procedure="load-sweep")
    drafts, notices = load_slope_drafts(run, load_sweeps(run))
    assert notices == []
    for draft in drafts:
        there = 0.14 * np.exp(-1e-3 * (draft.temperature_c - 80))
        assert draft.mu == pytest.approx(there, rel=1.5e-3)


def test_line_recovers_its_own_coefficients():
    x = np.linspace(500.0, 8000.0, 40)
    reference = np.exp(np.log(x).mean())
    line = fit_load_line(x, 3.0 + 0.12 * x * (x / reference) ** -0.04)
    assert line.coefficients == pytest.approx([3.0, 0.12, -0.04], rel=1e-7)


def test_a_narrow_sweep_gives_nothing(make_run):
    time = np.arange(0.0, 20.0, 0.02)
    load = np.interp(time, [0, 20], [8e3, 12e3])
    run = make_run(time, 0.14 * load, load, 2.0, procedure="load-sweep")
    assert load_slope_drafts(run, load_sweeps(run)) == ([], [])
