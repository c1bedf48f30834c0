"""The search for the variances and the mean squares behind them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse, stats

from rigdata.friction.columns import columns_of, dense_columns
from rigdata.friction.estimate import Estimate
from rigdata.friction.mixed_model import Component, MixedModel, profile, sensitivity
from rigdata.friction.results import interpret
from rigdata.friction.variance_components import (
    mean_squares,
    restricted_variances,
    scoring_step,
)

PACKS, RUNS, POINTS = 3, 4, 5
NAMES = ("pack", "run", "misfit")
N = PACKS * RUNS * POINTS


def nested(seed=0, spread=(2.0, 1.0, 0.5), known=0.0):
    """A balanced layout of points in runs in packs; `known` is a measured error of each pack."""
    rng = np.random.default_rng(seed)
    pack, run = np.arange(N) // (RUNS * POINTS), np.arange(N) // POINTS
    in_pack, in_run = np.eye(PACKS)[pack], np.eye(PACKS * RUNS)[run]
    effects = [
        rng.normal(size=k) * s for k, s in zip((PACKS, PACKS * RUNS, N), spread, strict=True)
    ]
    y = 10.0 + in_pack @ effects[0] + in_run @ effects[1] + effects[2]
    columns = sparse.csr_array(np.concatenate([known * in_pack, in_pack, in_run], axis=1))
    owner = [-1] * PACKS + [0] * PACKS + [1] * (PACKS * RUNS)
    return MixedModel(
        y,
        np.ones((N, 1)),
        np.zeros(N),
        columns_of(columns, owner, pack, run),
        (
            Component("pack"),
            Component("run"),
            Component("misfit", weights=np.ones(N)),
        ),
    )


def anova(model):
    """Textbook mean squares of the nested layout."""
    y = model.residual.reshape(PACKS, RUNS, POINTS)
    runs, packs = y.mean(axis=2), y.mean(axis=(1, 2))
    between_packs = RUNS * POINTS * np.sum((packs - y.mean()) ** 2) / (PACKS - 1)
    between_runs = POINTS * np.sum((runs - packs[:, None]) ** 2) / (PACKS * (RUNS - 1))
    within = np.sum((y - runs[:, :, None]) ** 2) / (PACKS * RUNS * (POINTS - 1))
    return np.array([between_packs, between_runs, within])


def fitted(model):
    variances, at, converged = restricted_variances(model, np.full(3, 1.0))
    assert converged
    return variances, at


def test_balanced_nested_components_are_those_of_analysis_of_variance():
    model = nested()
    packs, runs, within = anova(model)
    expected = [(packs - runs) / (RUNS * POINTS), (runs - within) / POINTS, within]
    assert min(expected) > 0
    assert fitted(model)[0] == pytest.approx(expected, rel=1e-8)


def test_mean_squares_and_their_degrees_of_freedom_are_those_of_analysis_of_variance():
    model = nested()
    variances, at = fitted(model)
    mean_square, estimated, dof, nesting = mean_squares(at, variances, NAMES)
    assert mean_square == pytest.approx(anova(model) / [RUNS * POINTS, POINTS, 1], rel=1e-8)
    assert estimated == pytest.approx(mean_square, rel=1e-8)
    degrees = [PACKS - 1, PACKS * (RUNS - 1), PACKS * RUNS * (POINTS - 1)]
    assert dof == pytest.approx(degrees, rel=1e-8)
    # The variance of the mean moves with the first mean square alone, by 1 / packs.
    slopes = np.array([1 / PACKS, 1 / (PACKS * RUNS), 1 / N])
    assert slopes @ nesting == pytest.approx([1 / PACKS, 0.0, 0.0], abs=1e-10)


def test_a_measured_error_of_each_pack_is_no_part_of_what_was_estimated():
    plain, known = nested(), nested(known=0.2)
    free, _ = fitted(plain)
    variances, at = fitted(known)
    assert variances[0] == pytest.approx(free[0] - 0.2**2, rel=1e-7)
    mean_square, estimated, dof, _ = mean_squares(at, variances, NAMES)
    assert mean_square[0] - estimated[0] == pytest.approx(0.2**2, rel=1e-7)
    assert dof[0] == pytest.approx(PACKS - 1, rel=1e-8)


def test_the_maximum_is_where_the_score_vanishes_or_points_below_zero():
    for seed in range(20):
        model = nested(seed, spread=(0.3, 0.5, 1.0))
        variances, at = fitted(model)
        scaled = at.score / np.sqrt(np.diag(at.information))
        assert np.all(np.abs(scaled[variances > 0]) < 1e-6)
        assert np.all(at.score[variances == 0] <= 0)


def test_a_step_never_leaves_the_allowed_region():
    model = nested(3, spread=(0.0, 0.0, 1.0))
    for start in ([4.0, 4.0, 4.0], [1e-6, 4.0, 0.1], [0.0, 0.0, 1.0]):
        here = np.array(start)
        moved, gain = scoring_step(profile(model, here), here)
        assert np.all(moved >= 0)
        assert gain >= 0


def test_the_start_does_not_matter():
    model = nested()
    other, _, converged = restricted_variances(model, np.array([100.0, 0.01, 3.0]))
    assert converged
    assert other == pytest.approx(fitted(model)[0], rel=1e-7)


def two_packs(difference, known=0.3):
    """Means of two packs with a measured error of each, `difference` apart."""
    pack = np.eye(2)
    return MixedModel(
        np.array([0.5, -0.5]) * difference,
        np.ones((2, 1)),
        np.full(2, 1e-8),
        dense_columns(known * pack, pack),
        (Component("pack"),),
    )


@pytest.mark.parametrize("difference", [4.0, 0.5, 0.3, 0.01])
def test_two_packs_have_the_exact_interval_of_two_means(difference):
    """t with one degree of freedom on what the packs show, z on what is known beyond it."""
    known = 0.3
    model = two_packs(difference, known)
    variances, at, _ = restricted_variances(model, np.ones(1))
    mean_square, estimated, dof, _ = mean_squares(at, variances, ["pack"])
    shown = 0.5 * difference**2
    assert dof == pytest.approx([1.0], rel=1e-5)
    assert mean_square == pytest.approx([max(shown, known**2)], rel=1e-5)
    assert estimated == pytest.approx([shown], rel=1e-4)
    slope = sensitivity(model, at)
    estimate = Estimate(
        at.step, at.covariance, ("pack",), variances, slope, *mean_squares(at, variances, ["pack"])
    )
    exact = np.hypot(
        stats.t.ppf(0.975, 1) * difference / 2,
        stats.norm.ppf(0.975) * np.sqrt(max(known**2 - shown, 0.0) / 2),
    )
    assert estimate.half_width(np.ones((1, 1))) == pytest.approx([exact], rel=1e-4)


def test_a_run_of_a_new_pack_varies_as_packs_and_runs_do_together():
    """Balanced: the variance is that of packs, of runs and of the mean of a run's points."""
    model = nested(spread=(2.0, 4.0, 0.5))
    variances, at = fitted(model)
    estimate = Estimate(
        at.step,
        at.covariance,
        NAMES,
        variances,
        sensitivity(model, at),
        *mean_squares(at, variances, NAMES),
    )
    mu, gradient, inside = np.array([10.0]), np.ones((1, 1)), np.ones(1, dtype=bool)
    extra = np.array([[100.0, 100.0 * (1.0 - 1.0 / RUNS), 0.0]])
    run = variances @ [1.0, 1.0, 1.0 / POINTS]
    assert extra @ estimate.estimated == pytest.approx([100.0 * run], rel=1e-8)
    sure = replace(estimate, dof=np.full(3, 1e6))  # as if t did not matter
    told = interpret(sure, mu, gradient, inside)
    assert told.next_run_high - mu == pytest.approx(sure.half_width(gradient, extra), rel=1e-9)
    assert told.next_run_high > told.next_pack_high
    few = interpret(estimate, mu, gradient, inside)
    assert few.next_run_high >= few.next_pack_high
