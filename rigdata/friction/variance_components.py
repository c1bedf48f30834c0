"""Variance components of greatest restricted likelihood.

References
----------
H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545; S. R. Searle, G. Casella
and C. E. McCulloch, Variance Components (1992), chapter 6.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy import linalg

from rigdata.arrays import BoolArray, FloatArray
from rigdata.friction.estimate import kind_of
from rigdata.friction.mixed_model import MixedModel, Profile, profile

_HALVINGS = 30
_LEAST_CURVATURE = 0.05  # of the observed information against the expected
_SURE_DOF = 2.0  # from which measurement counts as known within a mean square
_ROUNDING = 1e-9  # of the information on a component, left beside the others by rounding alone


def scoring_step(
    at: Profile, variances: FloatArray, held: BoolArray | None = None
) -> tuple[FloatArray, float]:
    """Return the next variances, none below 0, and the gain in likelihood they promise.

    A Newton step where the observed information is positive, and Fisher scoring
    elsewhere.  A variance at 0 whose
    likelihood falls upwards stays there.  A step that would cross 0 ends on it,
    so that one variance at a time is set to 0.  Variances that are `held` keep
    their values.

    Returns
    -------
    (c,) array, float
        New variances, and the rise in log likelihood of the full step: how far
        from the maximum the current ones are.
    """
    free: BoolArray = (variances > 0.0) | (at.score > 0.0)
    if held is not None:
        free = free & ~held
    if not np.any(free):
        return variances, 0.0
    step = np.zeros_like(variances)
    step[free] = _newton_step(at, free)
    gain = float(step @ at.score)
    crossing = variances + step < 0.0
    # From exactly 0 a step may only go up; the others then move without it.
    stuck = crossing & (variances == 0.0)
    if np.any(stuck):
        step[stuck] = 0.0
        crossing &= ~stuck
    reach = np.full(variances.shape, np.inf)
    reach[crossing] = -variances[crossing] / step[crossing]
    shortest = min(1.0, float(reach.min(initial=np.inf)))
    moved = variances + shortest * step
    moved[reach <= shortest] = 0.0
    return np.maximum(moved, 0.0), gain


def _newton_step(at: Profile, free: BoolArray) -> FloatArray:
    """Return the step of the free variances by their observed curvature, direction by direction.

    Plain scoring takes the expected curvature instead: it overshoots for ever where
    the observed one is over twice as large, as it can be with few packs of very
    different sizes, and creeps where it is far smaller.  It is kept where the
    likelihood curves the wrong way, far from the maximum.
    """
    score, inner = at.score[free], np.ix_(free, free)
    expected, observed = at.information[inner], at.observed[inner]
    try:
        ratios, directions = linalg.eigh(observed, expected)
    except np.linalg.LinAlgError:  # components that the layout hardly tells apart
        return np.asarray(np.linalg.lstsq(expected, score, rcond=1e-14)[0], dtype=np.float64)
    curvature = np.where(ratios > 0.0, np.maximum(ratios, _LEAST_CURVATURE), 1.0)
    step: FloatArray = directions @ ((directions.T @ score) / curvature)
    return step


def unseen(information: FloatArray) -> BoolArray:
    """Return which components the data show nothing of beside those before them, (c,).

    Parameters
    ----------
    information : (c, c) array
        Expected information, the most far-reaching component first.

    Notes
    -----
    A law with as many terms that change from run to run as there are runs follows every
    run, so that nothing is left of the scatter; with one term fewer what is left may be
    of packs or of runs alike, and counts as of packs, which reach further.  The share
    that a component has of its own is its pivot in the Cholesky factor of the
    information as a correlation.
    """
    size = np.sqrt(np.maximum(np.diag(information), 0.0))
    shown = np.zeros(size.shape, dtype=np.bool_)
    for i in range(size.size):
        if size[i] == 0.0:
            continue
        across = information[shown, i] / (size[shown] * size[i])
        inner = information[np.ix_(shown, shown)] / np.outer(size[shown], size[shown])
        shown[i] = 1.0 - float(across @ np.linalg.solve(inner, across)) > _ROUNDING
    return ~shown


def restricted_variances(
    model: MixedModel,
    start: FloatArray,
    *,
    tolerance: float = 1e-20,
    steps: int = 200,
    held: BoolArray | None = None,
) -> tuple[FloatArray, Profile, bool]:
    """Return the variances of greatest restricted likelihood.

    Parameters
    ----------
    model : MixedModel
        With beta fixed or linear.
    start : (c,) array
        Start values, 0 or more.
    tolerance : float
        Stop when a full step promises less gain in log likelihood than this.
    steps : int
        Most scoring steps.
    held : (c,) bool array, optional
        Variances that keep their start values.

    Returns
    -------
    (c,) array, Profile, bool
        Variances, the likelihood there, and whether the maximum was reached.
    """
    variances = np.array(start, dtype=np.float64)
    here = profile(model, variances)
    for _ in range(steps):
        if here is None:
            break
        target, gain = scoring_step(here, variances, held)
        step = target - variances
        for halving in range(_HALVINGS):
            trial = variances + step * 0.5**halving
            there = profile(model, trial)
            if there is not None and there.restricted >= here.restricted - 1e-10:
                break
        else:
            return variances, here, gain <= 1e-8
        variances, here = trial, there
        if gain <= tolerance:
            return variances, here, True
    if here is None:
        raise ValueError("the covariance at the start values is not positive")
    return variances, here, False


def mean_squares(
    at: Profile,
    variances: FloatArray,
    names: Sequence[str],
    known_dof: Mapping[str, float] | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return what the data estimate of each component, level by level from the outermost.

    The spread between packs estimates the pack component together with what
    runs and points add to the mean of a pack; the spread between the runs of
    one pack then estimates the run component together with what points add, and
    so on.  These sums are estimated independently of each other, as the mean
    squares of a balanced analysis of variance are.

    Parameters
    ----------
    at : Profile
        At the fitted variances.
    variances : (c,) array
        The fitted variances.
    names : sequence of c str
        Names of the components; `kind_of` tells the level.
    known_dof : mapping of name to float, optional
        Degrees of freedom of variances that were found from more than these data.

    Returns
    -------
    mean_square : (c,) array
        Variance of one effect with all that lies within it; 0 where the data show
        nothing of it, because the law itself can follow every effect.
    estimated : (c,) array
        The part of it to be widened by t: what comes from the components, and the
        more of the rest, which is measurement, the fewer `dof` there are below 2.
    dof : (c,) array
        Degrees of freedom of the estimate.
    nesting : (c, c) array
        ``slopes @ nesting`` turns derivatives with respect to the components into
        derivatives with respect to the mean squares.

    Notes
    -----
    Block elimination of the expected information, in the order of the levels.
    In each step ``tr(P V) = dof / mean_square`` and ``tr(P V P V) = dof /
    mean_square^2``, exact where all effects of a component are alike.

    Measurement is known and needs no t, so it is taken out of what was estimated.
    Two packs that lie close together by luck would then pass for packs without
    scatter, one time in six where measurement is a fifth of it.  So with one degree
    of freedom t takes the whole mean square as the packs show it, which is the exact
    interval of two means whatever the scatter is, but never less than the scatter.
    """
    trace, squares = at.trace.copy(), 2.0 * at.information
    excess, whole = 2.0 * at.score, np.diag(2.0 * at.information)
    count = len(names)
    nesting, within = np.eye(count), np.eye(count)
    mean_square, dof = np.zeros(count), np.zeros(count)
    kinds = [kind_of(name) for name in names]
    left = np.arange(count)
    for kind in dict.fromkeys(kinds):
        seen = np.diag(squares) > _ROUNDING * whole
        here = np.array([i for i in left if kinds[i] == kind and seen[i]], dtype=int)
        left = np.array([i for i in left if kinds[i] != kind], dtype=int)
        own = np.diag(squares)[here]
        mean_square[here] = np.maximum(trace[here], 0.0) / own
        dof[here] = np.maximum(trace[here], 0.0) ** 2 / own
        shared = np.linalg.solve(squares[np.ix_(here, here)], squares[np.ix_(here, left)])
        within[np.ix_(here, left)] = shared
        nesting[:, left] -= nesting[:, here] @ shared
        trace[left] -= trace[here] @ shared
        excess[left] -= excess[here] @ shared
        squares[np.ix_(left, left)] -= squares[np.ix_(left, here)] @ shared
    dof = np.array([(known_dof or {}).get(name, d) for name, d in zip(names, dof, strict=True)])
    estimated = np.clip(within @ variances, 0.0, mean_square)
    shown = mean_square * np.clip(1.0 + excess / np.where(trace > 0.0, trace, np.inf), 0.0, 1.0)
    unsure = np.clip(_SURE_DOF - dof, 0.0, 1.0)
    estimated = np.maximum(estimated, unsure * shown + (1.0 - unsure) * estimated)
    return mean_square, estimated, dof, nesting
