"""Whether a law misses its points: the right law is let be, a wrong one is flagged and placed.

The study over hundreds of groups is ``tests/studies/misfit.py``.
"""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.adequacy import PRODUCTS, SETTINGS, adequacy_of
from rigdata.friction.design import Block
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law

GRID = tuple((t, p) for t in (50.0, 80.0, 110.0) for p in (0.7, 1.4))


def judged(truth, name, seed=1, points=None):
    points = drawn(truth, np.random.default_rng(seed)) if points is None else points
    return adequacy_of(joint_fit([Block("rough", points, law(name, OIL), {})], REFERENCE))


@pytest.mark.parametrize("name", THETA)
def test_the_right_law_is_let_be(name):
    truth = Truth(law=name, theta=THETA[name])
    found = [judged(truth, name, seed) for seed in range(6)]
    assert not any(test.flagged for test in found)
    assert max(test.size for test in found) < 0.006


def test_a_bump_is_placed_and_sized():
    found = judged(Truth(bump=0.06, packs=4), "log-speed")
    assert found.flagged
    assert found.along == "slip_speed_m_s"
    assert 0.02 < found.off < 0.06
    assert found.where.startswith("from 0.0")
    assert found.words.startswith("the points lie up to")
    assert "% above it from" in found.words
    assert "(p < 0.001)" in found.words


def test_misfit_taken_for_scatter_does_not_hide_a_departure():
    truth = Truth(bump=0.06, misfit_sd=0.02)
    points = drawn(truth, np.random.default_rng(3))
    fit = joint_fit([Block("rough", points, law("log-speed"), {})], REFERENCE)
    assert fit.variance_of("misfit") > 0.02**2
    assert adequacy_of(fit).flagged


def test_a_departure_too_small_to_matter_is_told_but_not_flagged():
    """Many still points see a bump of 0.4 %; tables do not follow a law more closely than that."""
    truth = Truth(bump=0.004, point_sd=0.001, pack_sd=0.0, run_sd=0.0, packs=4)
    found = judged(truth, "log-speed")
    assert found.beyond_chance
    assert not found.flagged
    assert found.along == "slip_speed_m_s"
    assert 0.001 < abs(found.off) < 0.005


def test_oil_that_thins_shows_as_a_product_of_speed_and_temperature():
    found = judged(Truth(law="hersey", theta=THETA["hersey"]), "stribeck")
    assert found.flagged
    assert found.along == PRODUCTS
    assert "the effect of one quantity changes with another" in found.words


def test_runs_that_depart_alike_at_the_same_settings_are_found():
    """A departure that no smooth shape follows, but that every run repeats."""
    truth = Truth(settings=GRID, runs=(6, 6), points=(10, 10))
    points = drawn(truth, np.random.default_rng(4))
    places = zip(points.slip_speed_m_s, points.temperature_c, points.pressure_mpa, strict=True)
    rng, jump = np.random.default_rng(5), {}
    odd = [jump.setdefault(place, 1.0 + 0.012 * rng.choice([-1, 1])) for place in places]
    found = judged(truth, "log-speed", points=replace(points, mu=points.mu * odd))
    assert found.flagged
    assert found.along == SETTINGS
    assert found.size == pytest.approx(0.012, rel=0.3)
    assert not judged(truth, "log-speed", points=points).flagged


def test_the_statistic_is_the_gain_of_a_fit_with_the_columns_beside_the_law():
    """Twice the rise of the likelihood, variances kept: what a score test promises."""
    truth = Truth(bump=0.06, settings=((80.0, 1.0),), points=(10, 10))
    points = drawn(truth, np.random.default_rng(1))
    fit = joint_fit([Block("rough", points, law("log-speed"), {"b": 0.0, "c": 0.0})], REFERENCE)
    found = adequacy_of(fit)
    x = np.log(points.slip_speed_m_s)
    model = fit.model
    inverse = np.linalg.inv(model.times(np.eye(len(points)), fit.estimate.variances))

    def least(columns):
        inner = columns.T @ inverse @ columns
        beta = np.linalg.solve(inner, columns.T @ inverse @ model.residual)
        rest = model.residual - columns @ beta
        return rest @ inverse @ rest

    # Any basis of the same curves does; here each speed has a level of its own.
    levels = np.unique(np.round(x, 9), return_inverse=True)[1][:, None] == np.arange(10)
    free = levels * fit.curve[:, None]
    assert (found.along, found.dof) == ("slip_speed_m_s", 8)
    assert found.statistic == pytest.approx(least(model.design) - least(free), rel=1e-6)


def test_tests_that_vary_nothing_have_nothing_to_say():
    truth = Truth(speeds=(0.1, 0.11), settings=((80.0, 1.0),), packs=1, runs=(1, 1))
    assert judged(truth, "constant") is None
