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
from rigdata.friction.allowances import ALLOWANCE
from rigdata.friction.conditions import ReferenceCondition
from rigdata.friction.design import Block, Design, assemble
from rigdata.friction.estimate import Estimate
from rigdata.friction.fitting import least_squares_fit
from rigdata.friction.mixed_model import MixedModel, Profile, profile
from rigdata.friction.solution import Solution, solution_of
from rigdata.friction.variance_components import restricted_variances, scoring_step, unseen
from rigdata.friction.whitening import Whitened

_LEAST_START_VARIANCE = 1e-7  # relative to mu squared
_EVALUATIONS, _POLISH_STEPS = 300, 60  # a law that needs more is not what the data show
_PRECISION = 1e-8  # of a minimum under start variances, from which the search for both begins
_TURNS = 200
_LEAST_DAMPING = 0.05
_STILL = 1e-18  # squared steps in standard deviations, and gain in log likelihood
_STILL_SMOOTH = 1e-11  # the same with smooths, where a stiff one leaves fewer digits
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
    taken_up : tuple of str
        Scatter components of which the laws leave nothing to see, or nothing that another
        could not stand for; they are 0.
    n_agree, n_starts : int
        Starts that reached this minimum, of how many.
    """

    design: Design
    estimate: Estimate
    curve: FloatArray
    model: MixedModel
    profile: Profile
    on_bound: tuple[str, ...]
    taken_up: tuple[str, ...]
    n_agree: int
    n_starts: int

    def variance_of(self, effect: str) -> float | None:
        """Return the variance of a scatter component, None where there is none."""
        if effect not in self.estimate.components:
            return None
        return float(self.estimate.variances[self.estimate.components.index(effect)])

    @property
    def effective_parameters(self) -> float:
        """Parameters fitted, where one of a smooth counts as far as the points determine it.

        ``tr((X^T V^-1 X + S)^-1 X^T V^-1 X)`` with `S` the precision that the prior gives.
        """
        prior, n = self.design.prior, self.curve.size
        spread = np.diag(self.estimate.covariance)
        drawn = spread[prior.columns] / self.model.diagonal[n:]
        return float(np.count_nonzero(spread) - np.sum(drawn))

    @property
    def likelihood(self) -> float:
        """Log density of the points at the fitted parameters.

        Of a surface it is conditional on the bends, and goes with `effective_parameters`
        (F. Vaida and S. Blanchard, Biometrika 92 (2005) 351).
        """
        n = self.curve.size
        bends, variances = self.model.residual[n:], self.model.diagonal[n:]
        prior = -0.5 * np.sum(bends**2 / variances + np.log(2.0 * np.pi * variances))
        return self.profile.full - float(prior)

    def pulls(self) -> dict[str, float]:
        """Return the posterior mean of each shared source, in its standard deviations.

        ``C^T V^-1 r``: what the fit takes each source's error to have been.  The
        allowances of outliers are not among them: they are as large as they must be.
        """
        values = self.model.columns.pull(self.profile.projected[:, None])[:, 0].tolist()
        # Behind the sources stand the effects of packs and runs.
        pairs = zip(self.design.sources, values, strict=False)
        return {source.id: value for source, value in pairs if source.kind != ALLOWANCE}


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
    held = np.array([name in design.known for name in design.unknown], dtype=bool)
    spread = _start_variances(design, found[0])
    first = _minimise(design, found, spread, where)
    theta = first[0]
    free = design.free & (theta > design.limits[:, 0]) & (theta < design.limits[:, 1])
    try:
        variances, here, _ = restricted_variances(
            design.linearised(theta, free), spread, tolerance=1e-4, steps=30, held=held
        )
        taken_up = _taken_up(design, here)
        if np.any(taken_up & ~held):
            held |= taken_up
            variances, here, _ = restricted_variances(
                here.model, np.where(taken_up, 0.0, spread), tolerance=1e-4, steps=30, held=held
            )
        solution = _settle(design, theta, free, variances, held, here, where)
    except ValueError as error:
        raise FitError(f"no fit was found: {error}", where=where) from error
    theta, free = solution.estimate.theta, solution.free
    names = [name for block in blocks for name in block.law.names]
    return JointFit(
        design=design,
        estimate=solution.estimate,
        curve=frozen(design.fitted(theta)),
        model=solution.model,
        profile=solution.profile,
        on_bound=tuple(n for n, f, d in zip(names, free, design.free, strict=True) if d and not f),
        taken_up=tuple(n for n, t in zip(design.unknown, taken_up, strict=True) if t),
        n_agree=first[1],
        n_starts=len(found),
    )


def _taken_up(design: Design, here: Profile) -> BoolArray:
    """Return which variances are of scatter that the laws take up; see `unseen`."""
    taken = np.zeros(len(design.unknown), dtype=np.bool_)
    scatter = slice(len(design.effects))
    taken[scatter] = unseen(here.information[scatter, scatter])
    return taken


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
    share = max(spread, _LEAST_START_VARIANCE) / max(1, len(design.unknown))
    known = {name: part.variance for name, part in design.known.items()}
    return np.array([known.get(name, share) for name in design.unknown], dtype=np.float64)


def _minimise(
    design: Design, starts: Sequence[FloatArray], variances: FloatArray, where: str
) -> tuple[FloatArray, int]:
    """Return the parameters of least whitened squares, with the covariance kept fixed."""
    problem = Whitened(design, starts[0], variances)
    free = design.free
    fit = least_squares_fit(
        problem.residual,
        problem.jacobian,
        [start[free] for start in starts],
        [f"p{i}" for i in np.flatnonzero(free)],
        [(low, high) for low, high in design.limits[free].tolist()],
        evaluations=_EVALUATIONS,
        polish_steps=_POLISH_STEPS,
        precision=_PRECISION,
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
    return problem.placed(fit.theta), fit.n_agree


def _damping(damping: float, last: FloatArray, here: Profile) -> float:
    """Return the part of the next step to take, by what the last one left of itself.

    A step of which the share `r` is left along its own direction should have been
    ``1 / (1 - r)`` times as long: more than it was where the curve moves its own
    weights the same way, less where it would swing about its end.
    """
    before = float(last @ np.linalg.solve(here.covariance, last)) / damping
    if before == 0.0:
        return damping
    left = float(last @ np.linalg.solve(here.covariance, here.step)) / before
    longer = damping / (1.0 - left) if left < 1.0 else 1.0
    return min(max(longer, _LEAST_DAMPING), 1.0)


def _settle(
    design: Design,
    theta: FloatArray,
    free: BoolArray,
    variances: FloatArray,
    held: BoolArray,
    here: Profile | None,
    where: str,
) -> Solution:
    """Move parameters and variances, less those `held`, until both stand still.

    `here` is the likelihood at the start.  Where there are smooths the variances go all
    the way at each turn: the smoothing of a curve that hardly bends is hardly known, and
    would swing with each small step of the parameters.
    """
    low, high = design.limits.T
    damping, last, smooth = 1.0, np.zeros(theta.size), len(design.prior) > 0
    still = _STILL_SMOOTH if smooth else _STILL
    for _ in range(_TURNS):
        if here is None:
            break
        if smooth:
            variances, here, _ = restricted_variances(
                here.model, variances, tolerance=still, held=held
            )
        towards = np.linalg.solve(here.covariance, here.step)
        size = float(here.step @ towards)
        target, gain = (variances, 0.0) if smooth else scoring_step(here, variances, held)
        rounding = bool(np.all(np.abs(here.step) <= _ROUNDING * np.abs(theta[free])))
        if (size <= still and gain <= still) or (rounding and gain <= _LITTLE_GAIN):
            return solution_of(design, theta, free, variances, here)
        damping = _damping(damping, last[free], here)
        theta, last = theta.copy(), np.zeros(theta.size)
        last[free] = damping * here.step
        theta = theta + last
        beyond = free & ((theta <= low) | (theta >= high))
        theta = np.clip(theta, low, high)
        free = free & ~beyond
        variances = target
        here = profile(design.linearised(theta, free), variances)
    raise FitError(
        "parameters and scatter did not settle",
        where=where,
        do="Test over a wider range of conditions, or ask for a simpler law",
    )
