"""A fitted law refitted with its packs or its runs weighted anew, many refits at once.

A unit, which is one pack or one run, counts with a weight w: its points, and all errors
that lie within it, as if they had 1 / w of their variance.  Errors that several units share
are unknowns of the refit, each held at 0 with its own standard deviation.  The covariance is
that of the fit.  It is kept in low rank, so that a refit costs as its points, and the
Gauss-Newton steps of many refits are products of stacks of small matrices.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.friction.case_deletion import PACK
from rigdata.friction.nesting import starts_of
from rigdata.friction.solution import Solution

_ROWS_AT_ONCE = 8192  # points of all refits that are worked on together
_TURNS = 40
_STILL = 1e-8  # squared step, in standard deviations of the refit, at which it has arrived
_ROUNDING = 1e-12  # relative

Linear = Callable[[FloatArray], FloatArray]  # derivatives and residuals at (b, P) parameters


@dataclass(frozen=True, eq=False)
class Narrow:
    """Columns U of one reach in ``V^-1 = D^-1 - D^-1/2 U U^T D^-1/2`` of every unit.

    Attributes
    ----------
    columns : (n, k) array
        Of each point, k slots.
    starts : (s,) int
        Where each run or pack starts among the points.
    unit : (s,) int
        Unit of each.
    """

    columns: FloatArray
    starts: IntArray
    unit: IntArray

    def taken(self, right: FloatArray) -> FloatArray:
        """Return ``U^T right`` of (..., n, q) columns, (..., s, k, q)."""
        each = self.columns[:, :, None] * right[..., :, None, :]
        total: FloatArray = np.add.reduceat(each, self.starts, axis=-3)
        return total


@dataclass(frozen=True, eq=False)
class Units:
    """The n points of a fit in u units, with what errors within a unit leave of them.

    Attributes
    ----------
    order : (n,) int
        Points of the fit in the order used here: units, and runs within packs, together.
    unit : (n,) int
        Unit of each point.
    root : (n,) array
        ``D^-1/2``: inverse standard deviation of what a point has of its own.
    narrow : tuple of Narrow
        What else lies within the units.
    shared : (n, m) array
        ``D^-1/2`` times the errors that units share, one standard deviation each.
    """

    order: IntArray
    unit: IntArray
    root: FloatArray
    narrow: tuple[Narrow, ...]
    shared: FloatArray

    def __len__(self) -> int:
        return int(self.unit[-1]) + 1

    @property
    def members(self) -> list[slice]:
        """Where the points of each unit stand."""
        ends = np.searchsorted(self.unit, np.arange(len(self) + 1)).tolist()
        return [slice(start, stop) for start, stop in itertools.pairwise(ends)]

    def left(self, right: FloatArray) -> FloatArray:
        """Return ``D^1/2 V^-1 D^1/2`` times (n, q) columns, V without what units share."""
        rest = right.copy()
        for part in self.narrow:
            lengths = np.diff(np.append(part.starts, len(right)))
            taken = np.repeat(part.taken(right), lengths, axis=0)
            rest -= np.einsum("nk,nkq->nq", part.columns, taken)
        return rest

    def squares(self, right: FloatArray, weights: FloatArray) -> FloatArray:
        """Return ``right^T V^-1 right`` with the units weighted, (b, q, q).

        Parameters
        ----------
        right : (b, n, q) or (1, n, q) array
            Columns, times ``D^-1/2``.
        weights : (b, u) array
        """
        weighted = right.swapaxes(1, 2) * weights[:, None, self.unit]
        total = weighted @ right
        for part in self.narrow:
            taken = part.taken(right)
            flat = taken.reshape(len(taken), -1, taken.shape[-1])
            more = taken * weights[:, part.unit, None, None]
            total -= more.reshape(len(more), *flat.shape[1:]).swapaxes(1, 2) @ flat
        return total


def units_of(solution: Solution, kind: str) -> Units:
    """Return the packs or the runs of a fit as units.

    Parameters
    ----------
    solution : Solution
        Of one group, with a formula.
    kind : str
        ``pack`` or ``run``.
    """
    inverse = solution.profile.inverse
    rows, done, part = inverse.columns.rows, inverse.elimination, inverse.part(slice(None))
    (k1, k2, _), order = inverse.columns.slots.widths, np.argsort(rows.place)
    run, pack = rows.run_of_row[order], rows.pack_of[rows.run_of_row[order]]
    by_run = part[:, :, :k1] @ done.run_root[rows.run_of]
    over = (done.run_root @ done.run_over[:, :, :k2])[rows.run_of]
    by_pack = part[:, :, k1 : k1 + k2] - part[:, :, :k1] @ over
    by_pack = by_pack @ done.pack_root[rows.pack_of_tile]
    shared = rows.taken(part[:, :, k1 : len(inverse.scale)])[order] * inverse.scale[k1:]
    packs, columns = np.arange(rows.n_packs), rows.taken(by_run)[order]
    if kind == PACK:
        within = [Narrow(columns, starts_of(run), rows.pack_of)]
        within.append(Narrow(rows.taken(by_pack)[order], starts_of(pack), packs))
        shared = shared[:, k2:]
    else:
        within = [Narrow(columns, starts_of(run), np.arange(rows.n_runs))]
        own = (pack[:, None] == packs)[:, :, None] * shared[:, None, :k2]
        shared = np.concatenate([own.reshape(len(own), -1), shared[:, k2:]], axis=1)
    return Units(
        order=order,
        unit=pack if kind == PACK else run,
        root=1.0 / np.sqrt(inverse.variance[order]),
        narrow=tuple(one for one in within if one.columns.shape[1]),
        shared=shared[:, np.any(shared != 0.0, axis=0)],
    )


@dataclass(frozen=True, eq=False)
class Refits:
    """The ends of b refits.

    Attributes
    ----------
    theta : (b, P) array
        All parameters; those that the fit holds, or that ended on a bound there, keep
        their values.
    settled : (b,) bool
        Whether the last step was negligible.
    """

    theta: FloatArray
    settled: BoolArray


def refitted(solution: Solution, units: Units, weights: FloatArray) -> Refits:
    """Return the parameters of least weighted squares for every set of weights.

    Parameters
    ----------
    solution : Solution
        Of one group, with a formula.
    units : Units
        Its packs or runs.
    weights : (b, u) array
        Above 0; the fit itself has a weight of 1 for every unit.
    """
    linear, moments = _linear(solution, units), _shared_moments(units)
    size = max(1, _ROWS_AT_ONCE // units.order.size)
    parts = [
        _settle(solution, units, linear, moments, weights[start : start + size])
        for start in range(0, len(weights), size)
    ]
    return Refits(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def _linear(solution: Solution, units: Units) -> Linear:
    """Return what gives the derivatives and residuals at (b, P) parameters, (b, n, p + 1)."""
    (block,), reference = solution.design.blocks, solution.design.reference
    mu, n = solution.design.mu[units.order], units.order.size
    conditions = {}

    def at(theta: FloatArray) -> FloatArray:
        b = len(theta)
        if b not in conditions:
            conditions[b] = block.conditions.select(np.tile(units.order, b))
        each = np.repeat(theta.T, n, axis=1)
        columns = np.empty((b, n, np.count_nonzero(solution.free) + 1))
        slopes = block.law.jacobian(conditions[b], each, reference)[:, solution.free]
        columns[:, :, :-1] = slopes.reshape(b, n, -1)
        columns[:, :, -1] = mu - block.law.mu(conditions[b], each, reference).reshape(b, n)
        columns *= units.root[:, None]
        return columns

    return at


def _shared_moments(units: Units) -> FloatArray:
    """Return ``N^T V^-1 N`` of the errors N that units share, unit by unit, (u, m, m)."""
    left = units.left(units.shared)
    return np.array([units.shared[own].T @ left[own] for own in units.members])


def _settle(
    solution: Solution, units: Units, linear: Linear, moments: FloatArray, weights: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return where refits that are worked on together end, and which of them settled."""
    low, high = solution.design.limits.T
    free, m = solution.free, units.shared.shape[1]
    left = units.left(units.shared)
    inner = np.eye(m) + np.einsum("bu,uij->bij", weights, moments)

    def normal(theta: FloatArray) -> FloatArray:
        """Return the moments of derivatives and residuals, (b, p + 1, p + 1)."""
        with np.errstate(all="ignore"):  # a step may go where the curve overflows
            columns = linear(theta)
            across = (columns.swapaxes(1, 2) * weights[:, None, units.unit]) @ left
            known = across @ np.linalg.solve(inner, across.swapaxes(1, 2))
            total: FloatArray = units.squares(columns, weights) - known
        return total

    theta = np.repeat(solution.estimate.theta[None], len(weights), axis=0)
    here, reach = normal(theta[:1]), np.ones(len(weights))
    for _ in range(_TURNS):
        step, size = _steps(here, theta[:, free], low[free], high[free])
        settled: BoolArray = size <= _STILL
        if settled.all():
            break
        trial = theta.copy()
        trial[:, free] += np.where(settled, 0.0, reach)[:, None] * step
        trial = np.clip(trial, low, high)
        there = normal(trial)
        less = there[:, -1, -1] <= here[:, -1, -1] * (1.0 + _ROUNDING)
        theta = np.where(less[:, None], trial, theta)
        here = np.where(less[:, None, None], there, here)
        reach = np.where(less, np.minimum(2.0 * reach, 1.0), 0.5 * reach)
    return theta, settled


def _steps(
    here: FloatArray, theta: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the Gauss-Newton step of every refit, (b, p), and the gain that it promises, (b,).

    Parameters that press against a bound stay there.
    """
    gradient = here[:, :-1, -1]
    pressed = ((theta <= low) & (gradient < 0.0)) | ((theta >= high) & (gradient > 0.0))
    gradient = np.where(pressed, 0.0, gradient)
    length = np.sqrt(np.diagonal(here[:, :-1, :-1], axis1=1, axis2=2))
    matrix = here[:, :-1, :-1] / (length[:, :, None] * length[:, None, :])
    matrix = np.where(pressed[:, :, None] | pressed[:, None, :], 0.0, matrix)
    places = np.arange(length.shape[1])
    matrix[:, places, places] = 1.0 + _ROUNDING  # the least damping, for refits left by few units
    step = np.linalg.solve(matrix, (gradient / length)[:, :, None])[:, :, 0] / length
    gain: FloatArray = np.sum(step * gradient, axis=1)
    return step, gain
