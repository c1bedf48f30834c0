"""One fit of one or more groups: laws, shared errors and scatter together.

Generalised least squares for the parameters and restricted maximum likelihood
for the scatter, each in turn until both stand still.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.errors import FitError
from rigdata.friction.conditions import ReferenceCondition
from rigdata.friction.design import Block, Design, assemble
from rigdata.friction.estimate import Estimate
from rigdata.friction.fitting import least_squares_fit
from rigdata.friction.mixed_model import MixedModel, Profile, profile
from rigdata.friction.solution import solution_at
from rigdata.friction.variance_components import restricted_variances, scoring_step
from rigdata.uncertainty.covariance import LowRankCovariance

_LEAST_START_VARIANCE = 1e-7  # relative to mu squared
_EVALUATIONS, _POLISH_STEPS = 300, 60  # a law that needs more is not what the data show
_TURNS = 200
_LEAST_DAMPING = 0.05
_STILL = 1e-18  # squared steps in standard deviations, and gain in log likelihood
_ROUNDING, _LITTLE_GAIN = 1e-13, 1e-6  # what counts where rounding allows no better


@dataclass(frozen=True, eq=False)
class JointFit:
    """The end of a joint fit.

    Attributes
    ----------
    design : Design
        The problem, with its blocks.
    estimate : Estimate
        All P parameters, block after block.
    curve : (n,) float
        Fitted curve at every point.
    model : MixedModel
        The problem linearised at the fitted parameters.
    profile : Profile
        Its likelihood there.
    on_bound : tuple of str
        Parameters that ended on a bound.
    n_agree, n_starts : int
        Starts that reached this minimum, of how many.
    """

    design: Design
    estimate: Estimate
    curve: FloatArray
    model: MixedModel
    profile: Profile
    on_bound: tuple[str, ...]
    n_agree: int
    n_starts: int

    def variance_of(self, effect: str) -> float | None:
        """Return the variance of a scatter component, None where there is none."""
        if effect not in self.estimate.components:
            return None
        return float(self.estimate.variances[self.estimate.components.index(effect)])

    def pulls(self) -> dict[str, float]:
        """Return the posterior mean of each shared source, in its standard deviations.

        ``C^T V^-1 r``: what the fit takes each source's error to have been.
        """
        values = self.model.shared.T @ self.profile.projected
        return {s.id: float(v) for s, v in zip(self.design.sources, values, strict=True)}


def joint_fit(
    blocks: Sequence[Block],
    reference: ReferenceCondition,
    starts: Sequence[FloatArray] | None = None,
) -> JointFit:
    """Fit the laws of all `blocks` at once.

    Parameters
    ----------
    blocks : sequence of Block
        Groups and their laws.
    reference : Reference
        Condition that the parameters refer to.
    starts : sequence of (P,) arrays, optional
        Start values of all parameters; found from the data by default.

    Raises
    ------
    FitError
        When no minimum was found, or fewer than two starts agree on it.
    """
    design = assemble(blocks, reference)
    found = [np.asarray(s, dtype=np.float64) for s in starts or _starts(design)]
    where = ", ".join(f"{block.law.name} law for {block.label}" for block in blocks)
    held = np.array([effect.name in design.known for effect in design.effects], dtype=bool)
    spread = _start_variances(design, found[0])
    first = _minimise(design, found, spread, where)
    theta = first[0]
    variances, _, _ = restricted_variances(
        design.linearised(theta, design.free), spread, tolerance=1e-4, steps=30, held=held
    )
    theta, free, variances = _settle(design, theta, variances, held, where)
    solution = solution_at(design, theta, free, variances)
    names = [name for block in blocks for name in block.law.names]
    return JointFit(
        design=design,
        estimate=solution.estimate,
        curve=frozen(design.fitted(theta)),
        model=solution.model,
        profile=solution.profile,
        on_bound=tuple(n for n, f, d in zip(names, free, design.free, strict=True) if d and not f),
        n_agree=first[1],
        n_starts=len(found),
    )


def _starts(design: Design) -> list[FloatArray]:
    """Return start values of all parameters: the first of every block, the second, ..."""
    each = []
    for block, part in zip(design.blocks, design.rows, strict=True):
        found = block.law.starts(block.conditions, design.mu[part], design.reference)
        for theta in found:
            for name, value in block.held.items():
                theta[block.law.names.index(name)] = value
        each.append(found)
    longest = max(len(found) for found in each)
    return [np.concatenate([f[min(i, len(f) - 1)] for f in each]) for i in range(longest)]


def _start_variances(design: Design, theta: FloatArray) -> FloatArray:
    """Return what is known of each scatter, or equal shares of the spread about the start curve."""
    spread = float(np.mean((design.mu / design.fitted(theta) - 1.0) ** 2))
    share = max(spread, _LEAST_START_VARIANCE) / max(1, len(design.effects))
    known = {name: part.variance for name, part in design.known.items()}
    return np.array([known.get(effect.name, share) for effect in design.effects], dtype=np.float64)


def _minimise(
    design: Design, starts: Sequence[FloatArray], variances: FloatArray, where: str
) -> tuple[FloatArray, int]:
    """Return the parameters of least whitened squares, with the covariance kept fixed."""
    model = design.linearised(starts[0], design.free)
    diagonal, parts = model.diagonal, [model.shared]
    for variance, component in zip(variances, model.components, strict=True):
        if component.factors is not None:
            parts.append(np.sqrt(variance) * component.factors)
        elif component.weights is not None:
            diagonal = diagonal + variance * component.weights
    covariance = LowRankCovariance(diagonal, np.concatenate(parts, axis=1))
    free, whole = design.free, starts[0].copy()

    def placed(values: FloatArray) -> FloatArray:
        theta = whole.copy()
        theta[free] = values
        return theta

    names = [f"p{i}" for i in np.flatnonzero(free)]
    fit = least_squares_fit(
        lambda values: covariance.whiten(design.fitted(placed(values)) - design.mu),
        lambda values: covariance.whiten(design.jacobian(placed(values))[:, free]),
        [start[free] for start in starts],
        names,
        [(low, high) for low, high in design.limits[free].tolist()],
        evaluations=_EVALUATIONS,
        polish_steps=_POLISH_STEPS,
    )
    if not fit.converged:
        raise FitError(
            f"no minimum was found: {fit.message}",
            where=where,
            do="Test over a wider range of conditions, or ask for a simpler law",
        )
    if len(starts) > 1 and fit.n_agree < 2:
        raise FitError(
            f"{len(starts)} starts led to different minima",
            where=where,
            do="Test over a wider range of conditions, or ask for a simpler law",
        )
    return placed(fit.theta), fit.n_agree


def _settle(
    design: Design, theta: FloatArray, variances: FloatArray, held: BoolArray, where: str
) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Move parameters and variances, less those `held`, until both stand still."""
    low, high = design.limits.T
    free = design.free & (theta > low) & (theta < high)
    damping, last = 1.0, np.zeros(theta.size)
    for _ in range(_TURNS):
        here = profile(design.linearised(theta, free), variances)
        if here is None:
            break
        towards = np.linalg.solve(here.covariance, here.step)
        size = float(here.step @ towards)
        target, gain = scoring_step(here, variances, held)
        rounding = bool(np.all(np.abs(here.step) <= _ROUNDING * np.abs(theta[free])))
        if (size <= _STILL and gain <= _STILL) or (rounding and gain <= _LITTLE_GAIN):
            return theta, free, variances
        if float(last[free] @ towards) < -0.5 * size:  # back where it came from
            damping = max(0.5 * damping, _LEAST_DAMPING)
        theta, last = theta.copy(), np.zeros(theta.size)
        last[free] = damping * here.step
        theta = theta + last
        beyond = free & ((theta <= low) | (theta >= high))
        theta = np.clip(theta, low, high)
        free = free & ~beyond
        variances = target
    raise FitError(
        "parameters and scatter did not settle",
        where=where,
        do="Test over a wider range of conditions, or ask for a simpler law",
    )
