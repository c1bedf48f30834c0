"""Which causes the uncertainty of a fitted coefficient comes from."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.figures.quality import fitted_points
from rigdata.friction.conditions import at
from rigdata.friction.design import Block, assemble
from rigdata.friction.laws.registry import law
from rigdata.friction.results import FrictionFit
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.covariance import LowRankCovariance

PACKS = "scatter between packs"
RUNS = "scatter between runs"
MISFIT = "scatter between points"
RANDOM = "noise of the readings"
_SCATTER = {"pack": PACKS, "run": RUNS, "misfit": MISFIT}


@dataclass(frozen=True)
class Share:
    """One cause's part in the uncertainty of the fitted coefficient.

    Attributes
    ----------
    cause : str
        Kind of source, or one of the scatters.
    u : float
        Standard uncertainty of mu from this cause alone.
    share : float
        Its part of the variance, from 0 to 1.
    """

    cause: str
    u: float
    share: float


def budget_at_reference(points: FrictionPoints, fit: FrictionFit) -> tuple[Share, ...]:
    """Return what each cause adds to the uncertainty of mu at the reference, largest first.

    Parameters
    ----------
    points : FrictionPoints
        With the points that the fit was made from; others are ignored.
    fit : FrictionFit
        The fit.

    Notes
    -----
    The fit is linear about its solution: ``d mu = g A d y`` with `g` the law's
    derivatives at the reference and ``A = (J^T V^-1 J)^-1 J^T V^-1``.  A source
    with contributions `f` to the points therefore contributes ``g A f``, and
    the squares of all causes add up to the variance (JCGM 100:2008, 5.1).
    """
    own = fitted_points(points, fit)
    form = law(fit.law)
    held = {name: fit.parameters[name] for name in fit.not_identified}
    free = np.diag(fit.covariance) > 0.0  # less those on a bound
    design = assemble([Block(str(fit.group), own, form, held)], fit.reference)
    model = design.linearised(fit.theta, free)

    diagonal, factors = model.diagonal, [model.shared]
    misfit = np.zeros(len(own))
    packs_and_runs: list[tuple[str, FloatArray]] = []
    for component, variance in zip(model.components, fit.estimate.variances, strict=True):
        if component.factors is not None:
            scatter = np.sqrt(variance) * component.factors
            packs_and_runs.append((_SCATTER[component.name], scatter))
            factors.append(scatter)
        elif component.weights is not None:
            misfit = variance * component.weights
            diagonal = diagonal + misfit
    covariance = LowRankCovariance(diagonal, np.concatenate(factors, axis=1))

    slope = form.jacobian(at(fit.reference), fit.theta, fit.reference)[0, free]
    weighted = covariance.solve(model.design)
    weights = weighted @ np.linalg.solve(model.design.T @ weighted, slope)  # d mu / d mu_i

    variance_of: dict[str, float] = defaultdict(float)
    effects = weights @ design.influence(fit.theta)
    for source, effect in zip(design.every_source, effects, strict=True):
        variance_of[kind_words(source.kind)] += float(effect) ** 2
    for cause, scatter in packs_and_runs:
        variance_of[cause] += float(np.sum((weights @ scatter) ** 2))
    variance_of[RANDOM] += float(np.sum((weights * own.u_random) ** 2))
    variance_of[MISFIT] += float(np.sum(weights**2 * misfit))
    total = sum(variance_of.values())
    ranked = sorted(variance_of.items(), key=lambda entry: (-entry[1], entry[0]))
    return tuple(Share(cause, float(np.sqrt(v)), v / total) for cause, v in ranked if v > 0.0)


def kind_words(kind: str) -> str:
    """Return the kind of a source in words.

    >>> kind_words("clamp_load"), kind_words("outer-radius")
    ('clamp load', 'outer radius')
    """
    return kind.replace("_", " ").replace("-", " ")
