"""The joint fit: recovery, shared errors, scatter, invariances."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn
from scipy import sparse

from rigdata.errors import FitError
from rigdata.friction.design import Block
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law, laws_for
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.sources import Effect, Scope, Source


def fitted(points, name="log-speed", held=None):
    return joint_fit([Block("rough (new)", points, law(name, OIL), held or {})], REFERENCE)


@pytest.mark.parametrize("name", laws_for(OIL))
def test_parameters_are_recovered_within_their_uncertainty(name):
    truth = Truth(law=name, theta=THETA[name])
    deviations = []
    for seed in range(12):
        fit = fitted(drawn(truth, np.random.default_rng(seed)), name)
        u = np.sqrt(np.diag(fit.estimate.covariance))
        deviations.append((fit.estimate.theta - np.array(THETA[name])) / u)
    # A mean square near 1; its 99.9 % quantile for 12 independent values is below 2.8.
    assert np.mean(np.square(deviations), axis=0).max() < 2.8
    assert np.mean(np.square(deviations)) > 0.3


def test_points_without_error_are_fitted_exactly():
    still = Truth(pack_sd=0, run_sd=0, gain_u=0.0, radius_u=0.0, zero_u=0.0, point_sd=1e-9)
    points = drawn(still, np.random.default_rng(1))
    fit = fitted(points)
    assert fit.estimate.theta == pytest.approx(THETA["log-speed"], rel=1e-6)


def one_gain(n=400, noise=0.01, gain=0.005, seed=2, *, effect=Effect.PROPORTIONAL):
    """Points of one true value that share one calibration, as a hand-made table."""
    rng = np.random.default_rng(seed)
    mu = 0.12 * (1.0 + noise * rng.normal(size=n))
    points = drawn(Truth(packs=1, runs=(1, 1), points=(n, n)), rng)
    source = Source("torque:T1:slope", Scope.RIG, effect, "torque calibration")
    values = {name: getattr(points, name) for name in ("point", "run", "pack")}
    return replace(
        points,
        mu=mu,
        u_random=np.full(n, noise * 0.12),
        sources=(source,),
        contributions=sparse.csr_array((gain * mu)[:, None]),
        condition_shifts=None,
        **values,
    )


def test_a_common_gain_does_not_pull_the_fit_low():
    """Peelle's puzzle: 400 points with 1 % noise and 0.5 % of common calibration.

    With contributions that follow each point's own noise the optimum is
    ``mean / (1 + n (g s)^2 / (s^2 + ...))`` low: here by about 1 %, twice the calibration.
    """
    points = one_gain()
    fit = fitted(points, "constant")
    assert fit.estimate.theta[0] == pytest.approx(points.mu.mean(), rel=2e-4)
    u = np.sqrt(fit.estimate.covariance[0, 0]) / fit.estimate.theta[0]
    assert u == pytest.approx(np.hypot(0.005, 0.01 / 20), rel=0.02)


def test_without_rescaling_the_same_points_are_pulled_low():
    points = one_gain(effect=Effect.ADDITIVE)
    fit = fitted(points, "constant")
    assert fit.estimate.theta[0] < 0.995 * points.mu.mean()


def test_a_calibration_stays_whole_over_many_points():
    truth = Truth(gain_u=0.01, pack_sd=0.0, run_sd=0.0, radius_u=0.0, zero_u=0.0)
    few = fitted(drawn(truth, np.random.default_rng(0)))
    many = fitted(drawn(replace(truth, points=(60, 60)), np.random.default_rng(0)))
    for fit in (few, many):
        assert np.sqrt(fit.estimate.covariance[0, 0]) / fit.estimate.theta[0] > 0.0099


def test_scatter_components_are_recovered_on_average():
    truth = Truth(packs=6, pack_sd=0.02, run_sd=0.01, misfit_sd=0.012)
    found = [
        fitted(drawn(truth, np.random.default_rng(seed))).estimate.variances for seed in range(40)
    ]
    expected = np.array([0.02, 0.01, 0.012]) ** 2
    spread = np.std(found, axis=0) / np.sqrt(len(found))
    assert np.all(np.abs(np.mean(found, axis=0) - expected) < 4 * spread)


def test_a_component_that_the_data_do_not_show_is_exactly_zero():
    truth = Truth(pack_sd=0.0, radius_u=0.02)  # radii told larger than they are
    points = drawn(replace(truth, radius_u=0.0), np.random.default_rng(4))
    told = drawn(truth, np.random.default_rng(4))
    fit = fitted(replace(told, mu=points.mu))
    assert fit.variance_of("pack") == 0.0


def test_layouts_that_cannot_be_told_apart_have_no_component():
    one_pack = fitted(drawn(Truth(packs=1), np.random.default_rng(1)))
    assert one_pack.estimate.components == ("run", "misfit")
    one_run = fitted(drawn(Truth(packs=4, runs=(1, 1)), np.random.default_rng(1)))
    assert one_run.estimate.components == ("pack", "misfit")
    one_point = drawn(Truth(packs=3, runs=(4, 4), points=(1, 1)), np.random.default_rng(1))
    assert fitted(one_point, "constant").estimate.components == ("pack", "misfit")


def test_the_pull_of_a_wrong_source_is_reported():
    """One pack's radius is off by four of its standard deviations."""
    truth = Truth(packs=4, pack_sd=0.0, run_sd=0.0, point_sd=0.002, radius_u=0.003)
    points = drawn(replace(truth, radius_u=0.0), np.random.default_rng(6))
    told = drawn(truth, np.random.default_rng(6))
    off = np.where(points.pack == "rough-new-1", 1.012, 1.0)
    fit = fitted(replace(told, mu=points.mu * off))
    pulls = {name: value for name, value in fit.pulls().items() if name.startswith("outer")}
    assert max(pulls, key=lambda name: abs(pulls[name])) == "outer-radius:rough-new-1"


def test_sources_of_a_single_point_are_part_of_its_own_variance():
    points = drawn(Truth(packs=2, runs=(2, 2), points=(6, 6)), np.random.default_rng(3))
    n = len(points)
    own = tuple(
        Source(f"aliasing:{name}", Scope.POINT, Effect.ADDITIVE, "") for name in points.point
    )
    matrix = sparse.hstack([points.contributions, sparse.diags_array(np.full(n, 0.002))])
    named = replace(
        points,
        sources=points.sources + own,
        contributions=sparse.csr_array(matrix),
        condition_shifts=None,
    )
    merged = replace(points, u_random=np.hypot(points.u_random, 0.002))
    assert fitted(named).estimate.covariance == pytest.approx(
        fitted(merged).estimate.covariance, rel=1e-9
    )


def test_order_of_the_points_changes_nothing():
    points = drawn(Truth(), np.random.default_rng(7))
    order = np.random.default_rng(8).permutation(len(points))
    straight, shuffled = fitted(points).estimate, fitted(points.select(order)).estimate
    assert shuffled.theta == pytest.approx(straight.theta, rel=1e-9)
    assert shuffled.covariance == pytest.approx(straight.covariance, rel=1e-7)
    assert shuffled.variances == pytest.approx(straight.variances, rel=1e-7, abs=1e-15)


def test_friction_twice_as_high_gives_parameters_twice_as_high():
    points = drawn(Truth(), np.random.default_rng(9))
    double = replace(
        points,
        mu=2 * points.mu,
        u_random=2 * points.u_random,
        contributions=2 * points.contributions,
    )
    one, two = fitted(points).estimate, fitted(double).estimate
    assert two.theta == pytest.approx(one.theta * [2, 2, 1, 1], rel=1e-8)
    assert two.variances == pytest.approx(one.variances, rel=1e-6, abs=1e-15)


def test_another_reference_condition_gives_the_same_curve():
    points = drawn(Truth(), np.random.default_rng(10))
    here = fitted(points)
    elsewhere = replace(REFERENCE, slip_speed_m_s=0.5, temperature_c=50.0, pressure_mpa=0.7)
    there = joint_fit([Block("rough (new)", points, law("log-speed"), {})], elsewhere)
    assert there.curve == pytest.approx(here.curve, rel=1e-9)


def test_two_groups_share_their_sources():
    rng = np.random.default_rng(11)
    blocks = [
        Block(name, drawn(Truth(material=name), rng, 1.0), law("log-speed"), {})
        for name in ("plain", "rough")
    ]
    joint = joint_fit(blocks, REFERENCE)
    shared = joint.estimate.covariance[0, 4]
    expected = 0.005**2 * joint.estimate.theta[0] * joint.estimate.theta[4]
    assert shared == pytest.approx(expected, rel=0.05)
    assert [s.id for s in joint.design.sources].count("torque:T1:slope") == 1


def test_held_parameters_keep_their_value_without_uncertainty():
    points = drawn(Truth(), np.random.default_rng(12))
    fit = fitted(points, held={"c": 0.0})
    assert fit.estimate.theta[3] == 0.0
    assert not fit.estimate.covariance[3].any()


def test_a_coefficient_below_zero_is_refused():
    points = drawn(Truth(), np.random.default_rng(13))
    wrong = replace(points, mu=np.where(np.arange(len(points)) == 5, -0.01, points.mu))
    with pytest.raises(FitError, match="is not above 0"):
        fitted(wrong)


def test_a_point_without_random_uncertainty_is_refused():
    points: FrictionPoints = drawn(Truth(), np.random.default_rng(13))
    bare = replace(points, u_random=np.where(np.arange(len(points)) == 5, 0.0, points.u_random))
    with pytest.raises(FitError, match="no random uncertainty"):
        fitted(bare)


@pytest.mark.parametrize("seed", [31, 107])
def test_runs_of_very_different_sizes_settle(seed):
    """Curvature over twice the expected, about which plain scoring swings for ever."""
    sizes = ((3, 3), (10, 10), (40, 40))
    fit = fitted(drawn(Truth(layout=sizes), np.random.default_rng(seed)))
    at_zero = fit.estimate.variances == 0.0
    assert np.all(np.abs(fit.profile.score[~at_zero] * fit.estimate.variances[~at_zero]) < 1e-5)
    assert np.all(fit.profile.score[at_zero] < 0.0)
