"""A fitted coefficient or a ratio by Monte Carlo, beside its linear budget.

The points are drawn through their whole reduction, and what they do to the
parameters is linear, as the fit is about its solution; the law, and the division
in a ratio, are then taken as they stand.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.allowances import ALLOWANCE
from rigdata.friction.budget import quantity_of
from rigdata.friction.conditions import Conditions
from rigdata.friction.solution import Solution
from rigdata.reduction.monte_carlo import drawn_blocks
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reading import Reading
from rigdata.uncertainty.monte_carlo import (
    DRAWS,
    SEED,
    LinearTest,
    linear_test,
    standard_draws,
    summarise,
)
from rigdata.uncertainty.sources import Distribution


def draw_quantity(
    solution: Solution,
    where: Conditions,
    readings: Mapping[str, Reading],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> LinearTest:
    """Return mu of one group, or the ratio of two, by Monte Carlo, and the test of its budget.

    Parameters
    ----------
    solution : Solution
        Of one group, or of two for their ratio.
    where : Conditions
        One condition.
    readings : mapping of str to Reading
        What each point was read from, as in `Reduction.readings`.
    draws : int
        Draws of every cause.
    seed : int
        The same seed gives the same draws.

    Raises
    ------
    ReductionError
        When a point has no reading.

    Notes
    -----
    Scatter is drawn as normal with the standard deviations found.  That few packs
    know these badly is no matter of linearity: it widens the interval of the
    fit, and is left out of both intervals here.
    """
    design = solution.design
    theta = solution.estimate.theta[:, None] + _changes(solution, readings, draws, seed)
    theta = np.clip(theta, *design.limits.T[..., None])
    values, each = np.ones(draws), where.select(np.zeros(draws, dtype=np.int64))
    for sign, block, part in zip((1, -1), design.blocks, design.columns, strict=False):
        values *= block.law.mu(each, theta[part], design.reference) ** sign
    value, gradient = quantity_of(solution, where)
    u = np.sqrt(solution.estimate.variance(gradient[None, :]))
    is_ratio = len(design.blocks) > 1
    return linear_test(value, u, summarise(values), in_logarithm=is_ratio)


def _changes(
    solution: Solution, readings: Mapping[str, Reading], draws: int, seed: int
) -> FloatArray:
    """(P, draws) change of the parameters."""
    points, response = solution.points, solution.response
    total = np.zeros((len(response), draws))
    for rows, values in drawn_blocks(points, readings, draws=draws, seed=seed):
        total += response[:, rows] @ (values - points.mu[rows, None])
    for name, distribution, effect in _linear_causes(solution, points):
        total += effect[:, None] * standard_draws(name, distribution, draws, seed)
    return total


def _linear_causes(
    solution: Solution, points: FrictionPoints
) -> list[tuple[str, Distribution, FloatArray]]:
    """Return what moves the parameters beside mu of the points, each with its effect (P,)."""
    design, theta, response = solution.design, solution.estimate.theta, solution.response
    effects = -design.shift_influence(theta).T @ response.T
    allowed = np.array([source.kind == ALLOWANCE for source in points.sources], dtype=bool)
    if allowed.any():  # no reading knows of them
        effects[allowed] = (design.influence(theta).T @ response.T)[allowed]
    found = [
        (source.id, source.distribution, effect)
        for source, effect in zip(points.sources, effects, strict=True)
    ]
    model, variances = solution.model, solution.estimate.variances.tolist()
    n = design.mu.size
    bends = response[:, n:] * np.sqrt(model.diagonal[n:])
    found += [(f"bend:{i}", Distribution.NORMAL, effect) for i, effect in enumerate(bends.T)]
    moved = model.by_component(response.T)
    for component, own, variance in zip(model.components, moved, variances, strict=True):
        found += [
            (f"{component.name}:{i}", Distribution.NORMAL, effect)
            for i, effect in enumerate(_root(variance * own.T @ own).T)
        ]
    return [(name, shape, effect) for name, shape, effect in found if np.any(effect != 0.0)]


def _root(covariance: FloatArray) -> FloatArray:
    """Return a square root of a covariance, in columns."""
    values, vectors = np.linalg.eigh(covariance)
    root: FloatArray = vectors * np.sqrt(np.maximum(values, 0.0))
    return root
