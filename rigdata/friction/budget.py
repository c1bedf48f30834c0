"""Which causes the uncertainty of a number comes from: a point, a fitted mu, a ratio."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.errors import ResultError
from rigdata.friction.causes import (
    RANDOM,
    SCATTER,
    SHAPE,
    Budget,
    Cause,
    Share,
    kind_words,
    ranked_budget,
)
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.design import assemble
from rigdata.friction.estimate import kind_of
from rigdata.friction.joint import JointFit
from rigdata.friction.results import FrictionFit, fitted_points
from rigdata.friction.solution import Solution, solution_at
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.degrees import coverage_factor, welch_satterthwaite
from rigdata.uncertainty.sources import Scope

# Parameters that a point's own readings are spent on, by method: a straight line in
# time, a parabola, the line of a load sweep.
_SPENT = {"ratio": 2.0, "breakaway": 3.0, "load-slope": 4.0}


def point_budget(points: FrictionPoints, name: str) -> Budget:
    """Return the budget of one friction point.

    Parameters
    ----------
    points : FrictionPoints
    name : str
        Name of the point, ``<run>/<number>``.

    Raises
    ------
    ResultError
        When there is no such point.

    Notes
    -----
    ``u^2 = sum c_j^2 + u_random^2`` (JCGM 100:2008, 5.1.2), effective degrees of
    freedom by Welch and Satterthwaite (G.4.1), and an interval of ``t u``.
    """
    found = np.flatnonzero(points.point == name)
    if not found.size:
        run = name.rsplit("/", 1)[0]
        own = points.point[points.run == run].tolist()
        raise ResultError(
            f"there is no point {name}",
            expected=f"{own[0]} to {own[-1]}" if own else "a run and a number, as in R004/3",
            do="points.csv lists them all.",
        )
    own = points.select(found)
    effects = own.contributions.toarray()[0]
    causes = list(_source_causes(own, effects))
    noise = float(own.u_random[0])
    causes.append(
        Cause(RANDOM, RANDOM, Scope.POINT, "random part", noise, float(random_dof(own)[0]))
    )
    dof = float(welch_satterthwaite([c.effect for c in causes], [c.dof for c in causes]))
    u = float(own.u_mu[0])
    mu, half = float(own.mu[0]), float(coverage_factor(dof)) * u
    words = f"mu of {own.material[0]} ({own.state[0]}), pack {own.pack[0]}, point {name}"
    return ranked_budget(words, mu, u, (mu - half, mu + half), dof, causes)


def random_dof(points: FrictionPoints) -> FloatArray:
    """(n,) degrees of freedom of the random parts.

    Effective samples less what was fitted to them, 1 at least; infinite where
    only one sample is named, as in points made by hand, whose random part was
    stated.
    """
    spent = np.array([_SPENT.get(method, 1.0) for method in points.method.tolist()])
    return np.where(points.n_samples > 1, np.maximum(points.n_effective - spent, 1.0), np.inf)


def fit_solution(points: FrictionPoints, fit: FrictionFit) -> Solution:
    """Return a fit linearised about its solution, from its result and its points.

    Parameters
    ----------
    points : FrictionPoints
        With the points that the fit was made from; others are ignored.
    fit : FrictionFit
        The fit.

    Raises
    ------
    ResultError
        When a point of the fit is not among `points`.
    """
    own = fitted_points(points, fit)
    label = f"{fit.group}, static" if np.all(own.kind == "static") else str(fit.group)
    block = fit.block(own, label)
    free = np.diag(fit.covariance) > 0.0  # less those on a bound
    design = assemble([block], fit.reference)
    found = fit.estimate.every_variance
    return solution_at(design, fit.theta, free, np.array([found[name] for name in design.unknown]))


def joint_solution(joint: JointFit) -> Solution:
    """Return a joint fit linearised about its solution."""
    free = np.diag(joint.estimate.covariance) > 0.0
    return Solution(joint.design, free, joint.estimate, joint.model, joint.profile)


def fit_budget(points: FrictionPoints, fit: FrictionFit, where: Conditions) -> Budget:
    """Return the budget of the mean coefficient of a fit at one condition.

    Parameters
    ----------
    points : FrictionPoints
        With the points that the fit was made from; others are ignored.
    fit : FrictionFit
    where : Conditions
        One condition.
    """
    return solution_budget(fit_solution(points, fit), where)


def budget_at_reference(points: FrictionPoints, fit: FrictionFit) -> tuple[Share, ...]:
    """Return what each kind of cause adds to the uncertainty of mu at the reference."""
    return fit_budget(points, fit, at(fit.reference)).by_kind


def solution_budget(solution: Solution, where: Conditions) -> Budget:
    """Return the budget of what a solution gives at one condition.

    Parameters
    ----------
    solution : Solution
        Of one group, for its mean coefficient, or of two, for the ratio of the
        first to the second.
    where : Conditions
        One condition.

    Notes
    -----
    A fit is linear about its solution: ``d y = g A d mu`` with `g` the derivatives
    of the number by the parameters and ``A = (X^T V^-1 X)^-1 X^T V^-1``.  A source
    with influences `f` on the points therefore moves the number by ``g A f``, and
    the squares of all effects add up to its variance (JCGM 100:2008, 5.1).  In a
    ratio the two groups pull opposite ways, so what they share cancels here too.

    Effective degrees of freedom are Welch and Satterthwaite's over the scatter, as
    `Estimate` splits it off, and the named sources.  The interval is that of the
    fit, which widens the scatter alone: with few packs it is wider than ``t u``.
    That of a ratio is symmetric in the logarithm.
    """
    value, gradient = quantity_of(solution, where)
    causes = list(_solution_causes(solution, gradient))
    estimate = solution.estimate
    variance = float(estimate.variance(gradient[None, :])[0])
    parts = estimate.estimated_parts(gradient[None, :])[0]
    named = [cause for cause in causes if cause.is_source]
    spread = np.sum(parts**2 / np.maximum(estimate.dof, 1.0))
    spread += sum(cause.effect**4 / cause.dof for cause in named)
    dof = variance**2 / float(spread) if spread > 0.0 else float("inf")
    words = "mu of " + " over that of ".join(block.label for block in solution.design.blocks)
    interval = interval_of(solution, where)
    return ranked_budget(words, value, float(np.sqrt(variance)), interval, dof, causes)


def interval_of(solution: Solution, where: Conditions) -> tuple[float, float]:
    """Return the 95 % interval of mu of one group, or of the ratio of two, at one condition."""
    value, gradient = quantity_of(solution, where)
    half = float(solution.estimate.half_width(gradient[None, :])[0])
    if len(solution.design.blocks) == 1:
        return value - half, value + half
    factor = math.exp(half / value)
    return value / factor, value * factor


def quantity_of(solution: Solution, where: Conditions) -> tuple[float, FloatArray]:
    """Return mu of one group, or the ratio of two, and its derivatives (P,) at one condition."""
    design, theta = solution.design, solution.estimate.theta
    value, gradient = 1.0, np.zeros(theta.size)
    for sign, block, part in zip((1, -1), design.blocks, design.columns, strict=False):
        curve = float(block.law.mu(where, theta[part], design.reference)[0])
        slope = block.law.jacobian(where, theta[part], design.reference)[0]
        value *= curve**sign
        gradient[part] = sign * slope / curve
    return value, value * gradient


def source_effects(solution: Solution, gradient: FloatArray) -> FloatArray:
    """Return how every source of the design moves a number with this gradient (P,), one sd each."""
    influence = solution.design.influence(solution.estimate.theta)
    effects: FloatArray = influence.T @ (gradient @ solution.response)
    return effects


def _solution_causes(solution: Solution, gradient: FloatArray) -> Iterator[Cause]:
    design, estimate, model = solution.design, solution.estimate, solution.model
    weights = gradient @ solution.response  # change of the number by each point's mu
    effects = source_effects(solution, gradient)
    for source, effect in zip(design.every_source, effects.tolist(), strict=True):
        if effect:
            kind = kind_words(source.kind)
            yield Cause(source.id, kind, source.scope, source.label, effect, source.dof)
    moved = model.by_component(weights[:, None])
    known = zip(estimate.variances.tolist(), estimate.dof.tolist(), strict=True)
    for component, own, (variance, dof) in zip(model.components, moved, known, strict=True):
        kind, scope = SCATTER[kind_of(component.name)]
        label = _group_of(solution, component.name)
        if variance > 0.0:
            effect = float(np.sqrt(variance) * np.linalg.norm(own))
            yield Cause(f"{kind}, {label}", kind, scope, label, effect, max(dof, 1.0))
    points, prior = np.split(weights, [design.mu.size])
    shapes = prior * np.sqrt(model.diagonal[design.mu.size :])
    for i, name in enumerate(estimate.smooths):
        effect = float(np.linalg.norm(shapes[design.prior.smooth == i]))
        yield Cause(name, SHAPE, Scope.POINT, name, effect, math.inf)
    noise = points * design.u_random
    dofs = np.concatenate([random_dof(block.points) for block in design.blocks])
    freedom = float(welch_satterthwaite(noise, dofs))
    size = float(np.sqrt(np.sum(noise**2)))
    yield Cause(RANDOM, RANDOM, Scope.POINT, "random parts of the points", size, freedom)


def _group_of(solution: Solution, component: str) -> str:
    kind, _, number = component.partition(" ")
    blocks = solution.design.blocks
    if number:
        return blocks[int(number)].label
    shared = [block.label for block in blocks if kind in {part.kind for part in block.common}]
    return " and ".join(shared) or blocks[0].label


def _source_causes(own: FrictionPoints, effects: FloatArray) -> Iterator[Cause]:
    for source, effect in zip(own.sources, effects.tolist(), strict=True):
        if effect:
            kind = kind_words(source.kind)
            yield Cause(source.id, kind, source.scope, source.label, effect, source.dof)
