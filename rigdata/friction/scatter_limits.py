"""How large a scatter component may be: upper limits by restricted likelihood ratio.

A component that was found to be 0 is not known to be 0; with three packs it may
well be as large as what measurement hides.  So every component is told with the
largest value that the points do not speak against.

References
----------
S. G. Self and K.-Y. Liang, J. Am. Stat. Assoc. 82 (1987) 605, and D. O. Stram and
J. W. Lee, Biometrics 50 (1994) 1171: half of chi-square 0 and half of chi-square 1
for one variance on the edge of what is allowed.  Both from memory.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from rigdata.arrays import FloatArray
from rigdata.friction.estimate import LEVELS, Estimate
from rigdata.friction.joint import JointFit
from rigdata.friction.mixed_model import MixedModel, profile
from rigdata.friction.results import Scatter
from rigdata.friction.variance_components import restricted_variances

LEVEL = 0.95
_LEAST_DOF = 1.0
_STEPS = 60
_LONGEST, _FARTHEST = 1.0, 10.0  # steps in the log of a mean square, one and all together
_CLOSE = 1e-5  # of a log likelihood
_INNER = 1e-6  # gain in log likelihood at which the other components stand still


def scatter_of(fit: JointFit) -> Scatter:
    """Return the scatter of a single group as relative standard deviations, with their limits."""
    estimate = fit.estimate
    limits = upper_limits(fit.model, estimate, known=fit.design.known)
    found = dict(zip(estimate.components, np.sqrt(estimate.variances).tolist(), strict=True))
    found = {name: value for name, value in found.items() if name not in fit.taken_up}
    bounds = dict(zip(estimate.components, np.sqrt(limits).tolist(), strict=True))
    return Scatter(
        *(found.get(kind) for kind in LEVELS),
        *(bounds[kind] if np.isfinite(bounds.get(kind, np.inf)) else None for kind in LEVELS),
    )


def upper_limits(
    model: MixedModel,
    estimate: Estimate,
    level: float = LEVEL,
    known: Collection[str] = (),
) -> FloatArray:
    """Return the one-sided upper limit of each variance component of a fit.

    Parameters
    ----------
    model : MixedModel
        The problem linearised at the fitted parameters.
    estimate : Estimate
        With the variances of greatest restricted likelihood.
    level : float
        Probability that a limit is not below the true component.
    known : collection of str
        Components found from more points than these; theirs is the limit of their
        mean square, less what lies within it.

    Returns
    -------
    (c,) array
        Variances relative to mu squared, above 0 even where the component is 0;
        infinite where the points set no limit, or show nothing of the component.

    Notes
    -----
    The limit of a component is the largest value s with ``2 (l_max - l(s)) <= q``,
    `l` being the restricted log likelihood with the other components at their best
    and the law linearised at its fitted parameters.  `q` is that of `threshold`.
    """
    best = profile(model, estimate.variances)
    if best is None:
        return np.full(estimate.variances.shape, np.inf)
    fall = threshold(estimate.dof, level)
    guess = growth(estimate.dof, level) * estimate.mean_square
    within = estimate.mean_square - estimate.variances
    lowest = best.restricted - 0.5 * fall
    return np.array(
        [
            start - within[i]
            if estimate.components[i] in known
            else np.inf
            if estimate.mean_square[i] == 0.0
            else _limit(model, estimate.variances, lowest[i], i, within[i], start)
            for i, start in enumerate(guess)
        ]
    )


def threshold(dof: ArrayLike, level: float = LEVEL) -> FloatArray:
    """Return by how much twice the log likelihood may fall up to a one-sided limit.

    Notes
    -----
    With many degrees of freedom this is the quantile of the mixture of half a point
    mass at 0 and half of chi-square with one degree of freedom, 2.71 for 95 %.  That
    rule holds too rarely for few packs: 90 % instead of 95 % for three.  A mean
    square of nu degrees of freedom has an exact limit, `growth` r times as large, at
    which twice its log likelihood has fallen by ``nu (ln r + 1/r - 1)``: 4.0 for
    three packs.  This is the threshold taken.
    """
    degrees, r = np.maximum(np.asarray(dof, dtype=np.float64), _LEAST_DOF), growth(dof, level)
    fall: FloatArray = np.asarray(degrees * (np.log(r) + 1.0 / r - 1.0))
    return fall


def growth(dof: ArrayLike, level: float = LEVEL) -> FloatArray:
    """Return the one-sided upper limit of a mean square over the mean square itself.

    ``nu / chi2(1 - level; nu)``, with one degree of freedom at least.
    """
    degrees = np.maximum(np.asarray(dof, dtype=np.float64), _LEAST_DOF)
    return np.asarray(degrees / stats.chi2.ppf(1.0 - level, degrees), dtype=np.float64)


def _limit(
    model: MixedModel,
    variances: FloatArray,
    lowest: float,
    i: int,
    within: float,
    guess: float,
) -> float:
    """Return where the log likelihood has fallen to `lowest` along component `i`.

    Newton steps in the log of the whole mean square ``s + within``, in which the
    likelihood of a balanced layout is the same curve for every component.
    """
    held = np.arange(variances.size) == i
    low, high = float(np.log(variances[i] + within)), np.inf
    here, others = float(np.log(guess)), variances
    for _ in range(_STEPS):
        value = float(np.exp(here)) - within
        start = np.where(held, value, others)
        others, at, _ = restricted_variances(model, start, tolerance=_INNER, held=held)
        excess = lowest - at.restricted
        if abs(excess) <= _CLOSE:
            return value
        low, high = (low, here) if excess > 0.0 else (here, high)
        slope = -float(at.score[i]) * (value + within)
        trial = here - excess / slope if slope > 0.0 else np.inf
        trial = min(trial, here + _LONGEST)  # a likelihood may have a shoulder
        here = trial if low < trial < high else 0.5 * (low + high)
        if here > np.log(guess) + _FARTHEST:
            break
    return np.inf
