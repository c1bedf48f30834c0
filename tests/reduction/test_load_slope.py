import math

import numpy as np
import pytest
from scipy import optimize

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


def swept(run):
    return run, load_sweeps(run)


def stated_covariance(drafts):
    """What the points say of each other: their random parts, and the intercept they share."""
    shared = [
        value
        for d in drafts
        for source, value in d.contributions.items()
        if source.kind == "load-intercept"
    ]
    return np.diag([d.u_random**2 for d in drafts]) + np.outer(shared, shared)


def true_mu(run, draft, mu=0.14, exponent=0.0):
    middle = 6e3 / run.geometry.area_m2 / 1e6
    return mu * (draft.pressure_mpa / middle) ** exponent


def test_an_offset_does_not_touch_the_coefficient(make_run):
    run = sweep(make_run, offset=25.0, noise=0.5)
    drafts, notices = load_slope_drafts(*swept(run))
    assert [d.direction for d in drafts] == ["-", "-"]
    for draft in drafts:
        assert draft.mu == pytest.approx(0.14, rel=2e-3)
    # The ratio of torque to load at the lowest load would be wrong by a fifth.
    assert run.torque.values[0] / run.load.values[0] > 1.18 * run.torque.values.max() / 16e3
    assert [n.severity for n in notices] == [Severity.WARNING]
    assert "25" in notices[0].what


def test_no_offset_gives_no_notice(make_run):
    run = sweep(make_run, noise=0.5)
    assert load_slope_drafts(*swept(run))[1] == []


@pytest.mark.parametrize("exponent", [-0.06, 0.05])
def test_a_coefficient_that_moves_with_pressure_is_not_the_tangent(make_run, exponent):
    run = sweep(make_run, exponent=exponent, offset=10.0, noise=0.2)
    drafts, _ = load_slope_drafts(*swept(run))
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
        drafts, _ = load_slope_drafts(*swept(run))
        errors.append([d.mu - 0.14 for d in drafts])
    stated = stated_covariance(drafts)
    found = np.cov(np.array(errors).T)
    assert np.mean(errors, axis=0) == pytest.approx([0, 0], abs=5 * np.sqrt(found.max() / 300))
    # 300 draws know a variance to 8 %; the stated one is itself from 60 cells.
    assert np.diag(found) == pytest.approx(np.diag(stated), rel=0.45)
    assert np.sign(found[0, 1]) == np.sign(stated[0, 1])
    assert found[0, 1] == pytest.approx(stated[0, 1], rel=0.6)


def test_gain_and_load_errors_carry_their_sign(make_run):
    run = sweep(make_run)
    drafts, _ = load_slope_drafts(*swept(run))
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
    drafts, notices = load_slope_drafts(*swept(run))
    assert notices == []
    for draft in drafts:
        there = 0.14 * np.exp(-1e-3 * (draft.temperature_c - 80))
        assert draft.mu == pytest.approx(there, rel=1.5e-3)


def test_line_recovers_its_own_coefficients():
    x = np.linspace(500.0, 8000.0, 40)
    reference = np.exp(np.log(x).mean())
    line = fit_load_line(x, 3.0 + 0.12 * x * (x / reference) ** -0.04)
    assert line.coefficients == pytest.approx([3.0, 0.12, -0.04], rel=1e-7)


@pytest.mark.parametrize("warms", [False, True])
def test_covariance_of_the_line_is_that_of_least_squares(warms):
    """Noise that changes sign from cell to cell leaves all 12 of them independent."""
    x = np.linspace(500.0, 8000.0, 12)
    reference = np.exp(np.log(x).mean())
    away = 10.0 * np.sin(np.arange(12.0))
    away -= away.mean()

    def model(x, a, m, q, b=0.0):
        return a + m * x * (x / reference) ** q * np.exp(b * away)

    start = [3.0, 0.12, -0.04, -0.002][: 3 + warms]
    torque = model(x, *start) + 0.5 * (-1.0) ** np.arange(12)
    line = fit_load_line(x, torque, 80.0 + away if warms else None)
    theta, covariance = optimize.curve_fit(model, x, torque, start)
    assert line.coefficients == pytest.approx(theta, rel=1e-4)
    assert line.covariance == pytest.approx(covariance, rel=1e-3)
    assert line.dof == pytest.approx(12 - len(start))


def test_points_stand_at_the_quartiles_of_the_load(make_run):
    """Between 2 and 16 kN at 5.5 and 12.5 kN, but for what settles at the ends."""
    drafts, _ = load_slope_drafts(*swept(sweep(make_run)))
    area_mm2 = 0.8 * math.pi * (55.0**2 - 40.0**2)
    pressure = [d.pressure_mpa for d in drafts]
    assert pressure == pytest.approx([5.5e3 / area_mm2, 12.5e3 / area_mm2], rel=0.03)
    radius_m = 2 / 3 * (0.055**3 - 0.040**3) / (0.055**2 - 0.040**2)
    assert [d.slip_speed_m_s for d in drafts] == pytest.approx([2.0 * radius_m] * 2)


def test_random_parts_and_intercept_together_are_the_covariance_of_the_line(make_run):
    drafts, _ = load_slope_drafts(*swept(sweep(make_run, noise=2.0)))
    (line,) = {d.reading.line for d in drafts}
    _, m, q = line.coefficients
    at = np.array([d.reading.ln_load for d in drafts])
    slopes = np.exp(q * at)[:, None] * np.stack([0.0 * at, 1.0 + 0.0 * at, m * at], axis=1)
    assert stated_covariance(drafts) == pytest.approx(slopes @ line.covariance @ slopes.T)


@pytest.mark.parametrize(("kelvin", "fitted"), [(3.9, 3), (4.2, 4)])
def test_warming_is_fitted_from_4_k_on(make_run, kelvin, fitted):
    time = np.arange(0.0, 40.0, 0.02)
    load = np.interp(time, [0, 20, 40], [2e3, 16e3, 2e3])
    run = make_run(time, 0.02 * load, load, 2.0, temperature=80.0 + kelvin * time / 40.0)
    for draft in load_slope_drafts(*swept(run))[0]:
        assert draft.reading.line.coefficients.size == fitted


def test_a_sweep_one_way_is_as_warm_as_it_was_about_each_point(make_run):
    """It warms by 1 K a second and passes the quartiles after 5 and after 15 s."""
    time = np.arange(0.0, 20.0, 0.02)
    load = np.interp(time, [0, 20], [2e3, 16e3])
    run = make_run(time, 0.02 * load, load, 2.0, temperature=80.0 + time)
    drafts, _ = load_slope_drafts(*swept(run))
    assert [d.temperature_c for d in drafts] == pytest.approx([85.0, 95.0], abs=1.0)


def test_torque_oscillates_at_a_point_within_a_fifth_of_its_load(make_run):
    run = sweep(make_run)
    lower = load_slope_drafts(*swept(run))[0][0]
    away = np.abs(np.log(run.load.values / (lower.pressure_mpa * 1e6 * run.geometry.area_m2)))
    wave = 1.0 + 0.02 * np.sin(2 * np.pi * 20.0 * run.time_s) * (away > 0.205)
    run = make_run(run.time_s, run.torque.values * wave, run.load.values, 2.0)
    still, swings = (d.oscillation.ripple for d in load_slope_drafts(*swept(run))[0])
    assert still < 1e-4
    assert swings == pytest.approx(0.02, rel=0.1)


@pytest.mark.parametrize(("share", "told"), [(0.019, 0), (0.021, 1)])
def test_an_intercept_of_two_percent_of_the_torque_is_told(make_run, share, told):
    run = sweep(make_run)
    offset = share / (1.0 - share) * run.torque.values.max()
    run = sweep(make_run, offset=offset, noise=0.01)
    assert len(load_slope_drafts(*swept(run))[1]) == told


def test_a_short_sweep_has_cells_of_two_frames(make_run):
    time = np.arange(0.0, 40.0, 0.5)
    load = np.interp(time, [0, 20, 40], [2e3, 16e3, 2e3])
    for draft in load_slope_drafts(*swept(make_run(time, 0.02 * load, load, 2.0)))[0]:
        assert draft.n_samples / draft.reading.load_n.size == pytest.approx(2.0, abs=0.06)


@pytest.mark.parametrize(("ratio", "points"), [(1.95, 0), (2.1, 2)])
def test_a_sweep_spans_two_to_one_at_least(make_run, ratio, points):
    time = np.arange(0.0, 20.0, 0.02)
    load = np.interp(time, [0, 20], [8e3, ratio * 8e3])
    drafts, _ = load_slope_drafts(*swept(make_run(time, 0.02 * load, load, 2.0)))
    assert len(drafts) == points


def test_a_narrow_sweep_gives_nothing(make_run):
    time = np.arange(0.0, 20.0, 0.02)
    load = np.interp(time, [0, 20], [8e3, 12e3])
    run = make_run(time, 0.14 * load, load, 2.0, procedure="load-sweep")
    assert load_slope_drafts(*swept(run)) == ([], [])
