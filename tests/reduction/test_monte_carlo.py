"""Draws through the whole reduction against the linear budget, and where the two part."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.signals import Signal
from rigdata.campaign.campaign import read_campaign
from rigdata.errors import ReductionError
from rigdata.reduction import load_line
from rigdata.reduction.drafts import to_points
from rigdata.reduction.load_line import fit_load_line, refit_load_line
from rigdata.reduction.load_slope import load_slope_drafts
from rigdata.reduction.monte_carlo import draw_points, drawn_blocks
from rigdata.reduction.points import concatenate
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.reduce import reduce_campaign
from rigdata.reduction.windows import load_sweeps, steady_windows
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source

DEMO = Path(__file__).parents[2] / "examples" / "ramp-differential"
DRAWS = 40_000
ZERO = Source("zero:R1", Scope.RUN, Effect.ADDITIVE, "zero of the torque")


def held(make_run, *, name="R1", load_u=0.003, torque_nm=60.0, zero=0.3):
    """One steady run with a gain each of torque and load, and a torque zero."""
    time = np.arange(0.0, 12.0, 0.02)
    torque = torque_nm + np.random.default_rng(1).normal(0.0, 0.05, time.size)
    run = make_run(time, torque, 6e3, 2.0)
    (gain,) = run.torque.sources
    shifts = np.stack([0.005 * torque, np.full(time.size, zero)])
    return replace(
        run,
        run=type(run.run)(id=name, procedure="steady", pack="P1"),
        torque=Signal("torque", torque, run.usable, (gain, ZERO), shifts),
        load=replace(run.load, sensitivity=load_u * run.load.values[None, :]),
    )


def points_and_readings(run, drafts):
    points = to_points(run, drafts)
    return points, dict(zip(points.point.tolist(), (d.reading for d in drafts), strict=True))


def drawn(run, drafts, draws=DRAWS):
    points, readings = points_and_readings(run, drafts)
    return points, draw_points(points, readings, draws=draws)


def within_noise(points, result, *, draws):
    """Standard uncertainty and mean agree but for the luck of the draw and second order."""
    np.testing.assert_allclose(result.drawn.u, points.u_mu, rtol=4 / np.sqrt(2 * draws) + 2e-4)
    second_order = points.u_mu / points.mu
    allowed = (4 / np.sqrt(draws) + 2 * second_order) * points.u_mu
    assert np.all(np.abs(result.drawn.mean - points.mu) < allowed)


def test_small_errors_agree_with_the_linear_budget(make_run):
    run = held(make_run)
    points, result = drawn(run, ratio_drafts(run, steady_windows(run)))
    assert len(points) == 2
    within_noise(points, result, draws=DRAWS)


def test_a_load_known_to_a_fifth_is_no_linear_matter(make_run):
    run = held(make_run, load_u=0.2, zero=0.0)
    points, result = drawn(run, ratio_drafts(run, steady_windows(run)))
    # 1 / (1 + x): the mean rises by x^2 + 3 x^4, the upper end is at 1 / (1 - 1.96 x).
    assert result.drawn.mean / points.mu == pytest.approx(1 + 0.2**2 + 3 * 0.2**4, abs=0.01)
    assert result.drawn.high / points.mu == pytest.approx(1 / (1 - 0.392), rel=0.02)
    assert result.drawn.low / points.mu == pytest.approx(1 / (1 + 0.392), rel=0.02)
    assert np.all(result.drawn.u > 1.1 * points.u_mu)
    assert not result.test.passed.any()
    assert result.test.settled.all()


def test_the_radius_law_reaches_to_its_limits_and_no_further(make_run):
    run = held(make_run, load_u=0.0, zero=0.0)
    geometry = run.geometry
    run = replace(
        run,
        torque=replace(run.torque, sensitivity=0.0 * run.torque.sensitivity),
        geometry=replace(geometry, u_radius_m=0.0, relative=geometry.relative * [0.0, 0.0, 1.0]),
    )
    drafts = ratio_drafts(run, steady_windows(run))
    points, readings = points_and_readings(run, drafts)
    points = replace(points, u_random=np.full(len(points), 1e-12))
    ((_, values),) = drawn_blocks(points, readings, draws=DRAWS)
    gap = geometry.gap_m / 2 / geometry.radius_m  # the stated law is the nearer one
    ends = points.mu / (1 + np.array([[gap], [-gap]]))
    np.testing.assert_allclose([values.min(axis=1), values.max(axis=1)], ends, rtol=1e-4)
    # So the linear interval, 1.96 standard deviations, is wider than the truth: 0.95 sqrt(3).
    test = draw_points(points, readings, draws=DRAWS).test
    assert not test.passed.any()
    width = (test.drawn.high - test.drawn.low) / (test.high - test.low)
    assert width == pytest.approx(0.95 * np.sqrt(3) / 1.96, rel=0.01)


def test_points_share_the_errors_of_the_sources_they_share(make_run):
    """The covariance of draws in different blocks is the sum over shared sources."""
    runs = [held(make_run, name=name, torque_nm=t) for name, t in (("R1", 60.0), ("R2", 50.0))]
    parts = [points_and_readings(run, ratio_drafts(run, steady_windows(run))) for run in runs]
    points = concatenate([part for part, _ in parts])
    readings = {name: reading for _, own in parts for name, reading in own.items()}
    values = np.empty((len(points), DRAWS))
    for rows, block in drawn_blocks(points, readings, draws=DRAWS):
        values[rows] = block
    columns = points.contributions.toarray()
    expected = columns @ columns.T + np.diag(points.u_random**2)
    scale = np.outer(points.u_mu, points.u_mu)
    np.testing.assert_allclose(np.cov(values) / scale, expected / scale, atol=5 / np.sqrt(DRAWS))
    assert expected[0, 2] > 0.5 * scale[0, 2]  # points of two runs


def test_a_point_is_drawn_alike_alone_and_in_company(make_run):
    run = held(make_run)
    points, readings = points_and_readings(run, ratio_drafts(run, steady_windows(run)))
    alone = draw_points(points.select(np.array([1])), readings, draws=1000)
    together = draw_points(points, readings, draws=1000)
    assert alone.drawn.mean[0] == together.drawn.mean[1]
    assert alone.point.tolist() == ["R1/2"]


def test_a_point_without_its_reading_is_told(make_run):
    run = held(make_run)
    points, _ = points_and_readings(run, ratio_drafts(run, steady_windows(run)))
    with pytest.raises(ReductionError, match="what point R1/1 was read from is not known"):
        draw_points(points, {}, draws=100)


@pytest.fixture
def sweep(make_run):
    """A load sweep up and down with a gain of the load, a torque zero and warming plates."""
    time = np.arange(0.0, 40.0, 0.02)
    load = 1500.0 + 6500.0 * np.minimum(time, 40.0 - time) / 20.0
    run = make_run(time, 0.0, load, 2.0, temperature=80.0 + 0.3 * time)
    arm = run.geometry.faces * run.geometry.radius_m
    mu = 0.12 * (load / 4000.0) ** -0.05 * np.exp(-0.002 * (time - 20.0) * 0.3)
    torque = mu * arm * load + np.random.default_rng(2).normal(0.0, 0.6, time.size)
    (gain,) = run.torque.sources
    shifts = np.stack([0.005 * torque, 0.4 * time / 40.0])
    return replace(run, torque=Signal("torque", torque, run.usable, (gain, ZERO), shifts))


def test_a_load_sweep_fitted_to_every_draw_agrees_with_the_linear_budget(sweep):
    drafts, _ = load_slope_drafts(sweep, load_sweeps(sweep))
    assert drafts[0].reading.line.coefficients.size == 4
    points, result = drawn(sweep, drafts)
    assert len(points) == 2
    within_noise(points, result, draws=DRAWS)


def test_refitted_lines_are_the_least_squares_fits_of_their_cells(sweep, monkeypatch):
    monkeypatch.setattr(load_line, "_MOST_ROUNDS", 3)  # it is nearly linear
    drafts, _ = load_slope_drafts(sweep, load_sweeps(sweep))
    reading = drafts[0].reading
    line, rng = reading.line, np.random.default_rng(3)
    x = reading.load_n * reading.arm_m
    drawn_x = x[:, None] * (1.0 + 0.02 * rng.normal(size=8)) + 0.5 * rng.normal(size=8)
    torque = reading.torque_nm[:, None] * (1.0 + 0.03 * rng.normal(size=8))
    torque += rng.normal(0.0, 0.5, (x.size, 8))
    found = refit_load_line(line, drawn_x, torque)
    for i in range(8):
        fit = fit_load_line(drawn_x[:, i], torque[:, i], line.warmth + 80.0)
        a, m, q, b = fit.coefficients
        # Brought to the x0 and t0 of the first line.
        m *= (line.reference_x / fit.reference_x) ** q * np.exp(b * (80.0 - fit.reference_t))
        np.testing.assert_allclose(found[:, i], [a, m, q, b], rtol=1e-4, atol=1e-6)


def test_noise_of_the_coefficients_is_that_of_noisy_cells(sweep):
    """Drawing the coefficients gives the spread that drawing every cell would."""
    drafts, _ = load_slope_drafts(sweep, load_sweeps(sweep))
    reading = drafts[0].reading
    line = reading.line
    x, model = reading.load_n * reading.arm_m, reading.torque_nm
    sd = np.sqrt(line.covariance[1, 1] / (line.weights[1] @ line.weights[1]))
    noise = np.random.default_rng(4).normal(0.0, sd, (x.size, 4000))
    theta = refit_load_line(line, np.repeat(x[:, None], 4000, axis=1), model[:, None] + noise)
    mu = theta[1] * np.exp(theta[2] * reading.ln_load)
    by_id = {source.id: c for source, c in drafts[0].contributions.items()}
    u = np.hypot(drafts[0].u_random, by_id["load-intercept:R1:1"])
    assert mu.std() == pytest.approx(u, rel=0.05)


@pytest.fixture(scope="module")
def demo():
    """One run of every procedure of the demo's first pack."""
    campaign = read_campaign(DEMO)
    kept = ("zero", "drag", "speed-sweep", "load-sweep", "temperature-sweep", "breakaway")
    first = {run.procedure: run.id for run in reversed(campaign.runs) if run.pack == "A1"}
    runs = tuple(run for run in campaign.runs if run.id in {first[name] for name in kept})
    return reduce_campaign(replace(campaign, runs=runs))


def test_every_method_of_the_demo_agrees_with_the_linear_budget(demo):
    points = demo.points
    assert set(points.method.tolist()) == {"ratio", "load-slope", "breakaway"}
    result = draw_points(points, demo.readings, draws=20_000)
    within_noise(points, result, draws=20_000)
    rectangular = {s.kind for s in points.sources if s.distribution is Distribution.RECTANGULAR}
    assert {"radius-law", "zero-drift", "clamp-load-zero-drift"} <= rectangular
