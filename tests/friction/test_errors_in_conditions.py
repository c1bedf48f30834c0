"""Sources that move the stated condition count in the fit, by the slope of the curve there."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn
from scipy import sparse

from rigdata.friction.conditions import Conditions
from rigdata.friction.design import Block, assemble
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law
from rigdata.uncertainty.sources import Effect, Scope, Source

WARMTH = Source("plate-temperature:TC:offset", Scope.RIG, Effect.ADDITIVE, "thermocouple")
LOAD = Source("clamp-load:L1:slope", Scope.RIG, Effect.PROPORTIONAL, "load gain")
STILL = Truth(pack_sd=0.0, run_sd=0.0, gain_u=0.0, radius_u=0.0, zero_u=0.0, point_sd=0.004)
_, _, B, C = STILL.theta


def with_source(points, source, mu=0.0, temperature=0.0, ln_pressure=0.0):
    """Add one source that all points share, on top of those they have."""

    def widened(matrix, column):
        return sparse.csr_array(sparse.hstack([matrix, np.full((len(points), 1), 1.0) * column]))

    n = (len(points), 1)
    columns = [np.reshape(mu * points.mu, n), 0.0, temperature, ln_pressure]
    contributions, *shifts = (
        widened(matrix, column) for matrix, column in zip(points.influences, columns, strict=True)
    )
    return replace(
        points,
        sources=(*points.sources, source),
        contributions=contributions,
        condition_shifts=tuple(shifts),
    )


def fitted(points):
    return joint_fit([Block("rough (new)", points, law("log-speed"), {})], REFERENCE)


def u_at_reference(fit):
    return np.sqrt(fit.estimate.covariance[0, 0])


def test_influence_is_the_change_of_mu_less_that_of_the_curve():
    points = with_source(drawn(STILL, np.random.default_rng(1)), LOAD, mu=-0.003, ln_pressure=0.003)
    block = Block("rough (new)", points, law("log-speed"), {})
    theta = np.array(STILL.theta)
    design = assemble([block], REFERENCE)
    column = [s.id for s in design.every_source].index(LOAD.id)
    curve = STILL.mu(Conditions(points.slip_speed_m_s, points.temperature_c, points.pressure_mpa))
    # A load read 0.3 % high takes mu down by as much, and the curve at the higher
    # pressure by its exponent: together -(1 + c) 0.3 %.
    found = design.influence(theta).toarray()[:, column]
    assert found == pytest.approx(-0.003 * (1 + C) * curve, rel=1e-6)


def test_a_thermocouple_offset_widens_the_fit_by_the_slope_of_mu():
    points = drawn(STILL, np.random.default_rng(2))
    alone = u_at_reference(fitted(points))
    shared = fitted(with_source(points, WARMTH, temperature=2.0))
    # An offset of 2 K moves the whole curve by b mu 2 K.
    expected = np.hypot(alone, 2.0 * B * shared.estimate.theta[0])
    assert u_at_reference(shared) == pytest.approx(expected, rel=0.02)
    assert u_at_reference(shared) > 1.5 * alone


def test_the_stated_uncertainty_is_the_scatter_under_a_wrong_thermocouple():
    found, stated = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        true = drawn(STILL, rng)
        shown = replace(true, temperature_c=true.temperature_c + 3.0 * rng.normal())
        fit = fitted(with_source(shown, WARMTH, temperature=3.0))
        found.append(fit.estimate.theta[0])
        stated.append(u_at_reference(fit))
    assert np.std(found) == pytest.approx(np.mean(stated), rel=0.25)
    assert np.mean(found) == pytest.approx(STILL.theta[0], abs=3 * np.mean(stated) / np.sqrt(60))


def test_a_wrong_thermocouple_is_seen_as_nothing_but_itself():
    """Only the level of the curve could tell, so the pull of the source stays small."""
    points = with_source(drawn(STILL, np.random.default_rng(3)), WARMTH, temperature=2.0)
    assert abs(fitted(points).pulls()[WARMTH.id]) < 1e-6
