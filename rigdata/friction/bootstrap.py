"""The bootstrap of a fit: does it scatter, with packs or runs weighted anew, as it says it does.

The fit takes packs and runs to differ by a factor.  Where they differ in more, such as in how
they follow the temperature, its uncertainty of that is too small, and no residual shows it.
Refits with random weights of the runs (or packs) do, for they take from the runs nothing but
that they are alike and independent.  Errors that all runs share, such as a calibration, move
no refit: they are no part of what is compared.

References
----------
D. B. Rubin, Ann. Statist. 9 (1981) 130 (exponential weights); F. E. Satterthwaite, Biometrics
Bull. 2 (1946) 110 (degrees of freedom); both from memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray
from rigdata.errors import Notice, Severity
from rigdata.friction.budget import fit_solution
from rigdata.friction.case_deletion import PACK, RUN
from rigdata.friction.conditions import at
from rigdata.friction.refits import Units, refitted, units_of
from rigdata.friction.results import FrictionFit
from rigdata.friction.solution import Solution
from rigdata.reduction.points import FrictionPoints

REFITS, SEED = 1000, 0
MU = "mu at the reference"

_LEAST_UNITS = 4
_LEVEL = 0.997  # of what chance does: a campaign asks this of many parameters
_MIDDLE = 0.5 * (1.0 + np.array([-1.0, 1.0]) * (2.0 * stats.norm.cdf(1.0) - 1.0))
_LEAST_PART = 1e-9  # of u squared: what moves from unit to unit at all
_LEAST_DOF = 2.0  # a quantity that fewer units tell says nothing of them


@dataclass(frozen=True)
class Spread:
    """How far one quantity scatters in refits, beside what the fit says of it.

    Attributes
    ----------
    quantity : str
        `MU`, or the name of a parameter.
    value, u : float
        Of the fit.
    part : float
        The part of `u` from all that differs between the units, by the fit.
    found : float
        The same part as the refits show it.
    low, high : float
        What ``found / part`` lies within by chance, 99.7 times in 100.
    refits_low, refits_high : float
        Range of the middle 95 % of refits.
    """

    quantity: str
    value: float
    u: float
    part: float
    found: float
    low: float
    high: float
    refits_low: float
    refits_high: float

    @property
    def ratio(self) -> float:
        """How many times as far the refits scatter as the fit says."""
        return self.found / self.part

    @property
    def beyond_chance(self) -> bool:
        """Whether the two differ by more than chance would let them."""
        return not self.low <= self.ratio <= self.high

    @property
    def u_found(self) -> float:
        """Standard uncertainty with the part that the refits show in place of the fit's own."""
        return float(np.sqrt(max(self.u**2 - self.part**2, 0.0) + self.found**2))


@dataclass(frozen=True)
class Bootstrap:
    """The refits of one group with its packs or its runs weighted anew.

    Attributes
    ----------
    where : str
        Name of the group.
    unit : str
        ``pack`` or ``run``.
    n_units, n_refits, n_unsettled : int
        How many there are, and how many refits came to no end and were left out.
    spreads : tuple of Spread
        Of the quantities that enough of the units tell.
    """

    where: str
    unit: str
    n_units: int
    n_refits: int
    n_unsettled: int
    spreads: tuple[Spread, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        rows = [
            {**asdict(one), "ratio": one.ratio, "beyond_chance": one.beyond_chance}
            for one in self.spreads
        ]
        return {**asdict(self), "spreads": rows}


def bootstrap_fits(
    points: FrictionPoints, fits: Iterable[FrictionFit], refits: int = REFITS, seed: int = SEED
) -> tuple[tuple[Bootstrap, ...], tuple[Notice, ...]]:
    """Return the bootstraps of several fits as of `bootstraps_of`, and what they have to say."""
    found: list[Bootstrap] = []
    notices: list[Notice] = []
    for fit in fits:
        own = bootstraps_of(points, fit, refits=refits, seed=seed)
        found += own
        notices += bootstrap_notices(own) if own else [_why_none(fit)]
    return tuple(found), tuple(notices)


def bootstraps_of(
    points: FrictionPoints, fit: FrictionFit, *, refits: int = REFITS, seed: int = SEED
) -> tuple[Bootstrap, ...]:
    """Return the bootstrap of a fit by its packs and by its runs, as far as there are enough.

    Parameters
    ----------
    points : FrictionPoints
        With the points that the fit was made from; others are ignored.
    fit : FrictionFit
    refits : int
        Refits for each.
    seed : int
        The same seed gives the same weights.

    Returns
    -------
    tuple of Bootstrap
        None of fewer than four units, nor of a surface, whose smoothing would have to be
        found anew in every refit.

    Raises
    ------
    ResultError
        When a point of the fit is not among `points`.
    """
    if fit.knots is not None:
        return ()
    solution = fit_solution(points, fit)
    counts = {PACK: fit.n_packs, RUN: fit.n_runs}
    kinds = [kind for kind in (PACK, RUN) if counts[kind] >= _LEAST_UNITS]
    if fit.n_runs == fit.n_packs and RUN in kinds:
        kinds.remove(RUN)
    return tuple(_bootstrap(solution, fit, kind, refits, seed) for kind in kinds)


def drawn_weights(refits: int, units: int, seed: int) -> FloatArray:
    """Return exponential weights of mean 1 in every refit, (refits, units)."""
    weights = np.random.default_rng(seed).standard_exponential((refits, units))
    scaled: FloatArray = weights * (units / weights.sum(axis=1, keepdims=True))
    return scaled


def _bootstrap(
    solution: Solution, fit: FrictionFit, kind: str, refits: int, seed: int
) -> Bootstrap:
    units = units_of(solution, kind)
    names, gradient = _quantities(solution, fit)
    u = np.sqrt(solution.estimate.variance(gradient))
    part, expected, dof = expected_spread(solution, units, gradient[:, solution.free])
    ends = refitted(solution, units, drawn_weights(refits, len(units), seed))
    values = _values(fit, names, ends.theta[ends.settled])
    low, high = (stats.chi2.ppf(0.5 * (1 + side * _LEVEL), dof) / dof for side in (-1, 1))
    own = _values(fit, names, solution.estimate.theta[None])[0]
    spreads = []
    for i, name in enumerate(names):
        if part[i] ** 2 <= _LEAST_PART * u[i] ** 2 or dof[i] < _LEAST_DOF:
            continue
        middle = np.quantile(values[:, i], _MIDDLE)
        ends_of = np.quantile(values[:, i], (0.025, 0.975))
        ratio = 0.5 * float(np.ptp(middle)) / expected[i]
        numbers = (own[i], u[i], part[i], ratio * part[i], np.sqrt(low[i]), np.sqrt(high[i]))
        spreads.append(Spread(name, *map(float, numbers), *map(float, ends_of)))
    left_out = int(np.count_nonzero(~ends.settled))
    label = solution.design.blocks[0].label
    return Bootstrap(label, kind, len(units), refits, left_out, tuple(spreads))


def _quantities(solution: Solution, fit: FrictionFit) -> tuple[list[str], FloatArray]:
    """Return mu at the reference and the fitted parameters other than it, with derivatives."""
    here, theta = at(fit.reference), solution.estimate.theta
    slope = fit.form.jacobian(here, theta, fit.reference)
    rows = np.eye(theta.size)
    kept = [i for i in np.flatnonzero(solution.free).tolist() if not np.allclose(slope[0], rows[i])]
    names = [MU, *(fit.form.names[i] for i in kept)]
    return names, np.concatenate([slope, rows[kept]])


def _values(fit: FrictionFit, names: Sequence[str], theta: FloatArray) -> FloatArray:
    """Return the quantities at (b, P) parameters, (b, q)."""
    here = at(fit.reference).select(np.zeros(len(theta), dtype=np.int64))
    mu = fit.form.mu(here, theta.T, fit.reference)
    kept = [fit.form.names.index(name) for name in names[1:]]
    return np.column_stack([mu, theta[:, kept]])


def expected_spread(
    solution: Solution, units: Units, gradient: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what a right fit has from unit to unit, and how far its refits then scatter.

    Parameters
    ----------
    solution : Solution
        Of one group, with a formula.
    units : Units
        Its packs or runs.
    gradient : (q, p) array
        Derivatives of the quantities by the free parameters.

    Returns
    -------
    part, expected, dof : (q,) arrays
        Standard deviation of each quantity from what differs between the units, the
        standard deviation of its refits to be expected, and how many degrees of freedom the
        square of that has.

    Notes
    -----
    With M the columns of the parameters and of the errors that units share, H their
    information and ``A_u = M_u^T V_u^-1 M_u`` that of unit u, a weight moves what is estimated
    by ``H^-1 M_u^T V_u^-1 e_u``, where residuals e of a right fit have the covariance
    ``V_u - M_u H^-1 M_u^T``.  So the leverage of each unit, which keeps its residuals small,
    is counted in, to the first order in the weights.  Exponential weights of mean 1 have the
    covariance ``k / (k + 1) (I - 1 1^T / k)``.
    """
    (block,), k = solution.design.blocks, len(units)
    slopes = block.law.jacobian(
        block.conditions, solution.estimate.theta, solution.design.reference
    )
    slopes = slopes[units.order][:, solution.free] * units.root[:, None]
    columns = np.concatenate([slopes, units.shared], axis=1)
    p, size = slopes.shape[1], columns.shape[1]
    left = units.left(columns)
    within = columns.T @ left
    inverse = np.linalg.inv(within + np.diag(np.arange(size) >= p))
    along = inverse[:, :p] @ gradient.T
    part = np.sum(along * (within @ along), axis=0)
    each = np.array([columns[own].T @ (left[own] @ along) for own in units.members])
    own = np.einsum("iq,uiq->uq", along, each) - np.einsum("uiq,ij,ujq->uq", each, inverse, each)
    whole = each.sum(axis=0)
    mean = (np.sum(along * whole, axis=0) - np.sum(whole * (inverse @ whole), axis=0)) / k
    total = own.sum(axis=0)
    expected = k / (k + 1.0) * np.maximum(total - mean, 0.0)
    return np.sqrt(part), np.sqrt(expected), total**2 / np.sum(own**2, axis=0)


def bootstrap_notices(bootstraps: Sequence[Bootstrap]) -> tuple[Notice, ...]:
    """Return what the user must know of refits that scatter otherwise than the fit says."""
    found = []
    for one in bootstraps:
        found += [_notice(one, spread) for spread in one.spreads if spread.beyond_chance]
        if 20 * one.n_unsettled > one.n_refits:
            what = (
                f"{one.n_unsettled} of {one.n_refits} refits with the {one.unit}s weighted anew "
                "came to no end and are left out"
            )
            do = "Take a plainer law, or test over a wider range of conditions"
            found.append(Notice(Severity.WARNING, one.where, what, do))
    return tuple(found)


def _why_none(fit: FrictionFit) -> Notice:
    if fit.knots is None:
        why, do = (
            f"{fit.n_packs} packs and {fit.n_runs} runs are too few",
            "Test at least four runs",
        )
    else:
        why = "the smoothing of a surface would have to be found anew each time"
        do = "Ask for a formula with --law to have one"
    return Notice(Severity.NOTE, str(fit.group), f"no bootstrap: {why}", do)


def _notice(one: Bootstrap, spread: Spread) -> Notice:
    more = spread.ratio > spread.high
    limit = f"up to {spread.high:.2g}" if more else f"down to {spread.low:.2g}"
    what = (
        f"{spread.quantity} scatters {spread.ratio:.2g} times as much as the fit says when its "
        f"{one.unit}s are weighted anew (by chance {limit})"
    )
    if more:
        what += f"; take u = {spread.u_found:.2g} rather than {spread.u:.2g}"
        do = f"Look for what the {one.unit}s differ in beyond their level, and test more of them"
        return Notice(Severity.WARNING, one.where, what, do)
    do = "The intervals are on the safe side; stated uncertainties or the scatter may be too large"
    return Notice(Severity.NOTE, one.where, what, do)
