"""The points of one or more groups as one covariance problem.

All scatter and all proportional measurement errors are taken relative to the
fitted curve, never to the noisy points: contributions that followed each
point's own noise would pull the fit low (Peelle's puzzle, see `Effect`).

A source that moves a point's stated condition moves the curve it is held
against, so it counts with ``dmu - (df/dx) dx``: the effective variance of errors
in all variables (J. Orear, Am. J. Phys. 50 (1982) 912), kept source by source.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.errors import FitError
from rigdata.friction.conditions import Conditions, ReferenceCondition
from rigdata.friction.estimate import LEVELS, CommonScatter, kind_of
from rigdata.friction.influences import Influences, influences_of
from rigdata.friction.laws.base import Law
from rigdata.friction.mixed_model import Component, MixedModel
from rigdata.friction.nesting import numbered, rows_of
from rigdata.friction.prior import STIFF, Prior, prior_of
from rigdata.reduction.points import FrictionPoints, concatenate
from rigdata.uncertainty.sources import Effect, Source

_STEP = 1e-4
_MOVED: tuple[Callable[[Conditions, float], Conditions], ...] = (
    lambda c, h: replace(c, slip_speed_m_s=c.slip_speed_m_s * np.exp(h)),
    lambda c, h: replace(c, temperature_c=c.temperature_c + h),
    lambda c, h: replace(c, pressure_mpa=c.pressure_mpa * np.exp(h)),
)


@dataclass(frozen=True, eq=False)
class Block:
    """The points of one group and the law to fit to them.

    Attributes
    ----------
    label : str
        Name of the group, for messages.
    points : FrictionPoints
        The points to fit, all of them.
    law : Law
    held : mapping of parameter name to float
        Parameters that are not fitted, and the values they keep.
    common : tuple of CommonScatter
        Kinds of scatter that this block has in common with others.
    """

    label: str
    points: FrictionPoints
    law: Law
    held: Mapping[str, float]
    common: tuple[CommonScatter, ...] = ()

    @cached_property
    def conditions(self) -> Conditions:
        """Where the points were measured."""
        return conditions_of(self.points)

    @cached_property
    def moved(self) -> tuple[tuple[Conditions, Conditions], ...]:
        """The conditions a little above and below in ln v, in T and in ln p."""
        return tuple(
            (move(self.conditions, _STEP), move(self.conditions, -_STEP)) for move in _MOVED
        )

    @property
    def free(self) -> BoolArray:
        """(p,) whether each parameter is fitted."""
        return np.array([name not in self.held for name in self.law.names])

    @property
    def n_parameters(self) -> int:
        """How many parameters are fitted, less those of smooths."""
        return len(set(self.law.names) - self.law.drawn - set(self.held))


@dataclass(frozen=True, eq=False)
class Design:
    """What a joint fit of `blocks` needs to know, in arrays over all n points.

    Attributes
    ----------
    blocks : tuple of Block
    reference : Reference
        Condition that the parameters refer to.
    mu, u_random : (n,) array
        Coefficients and their random parts.
    rows : tuple of slice
        Points of each block.
    columns : tuple of slice
        Parameters of each block.
    free : (P,) bool
        Whether each parameter is fitted.
    limits : (P, 2) array
        Bounds of the parameters.
    every_source : tuple of m Source
        All sources of the points.
    influences : Influences
        What these do to the points, and the effects of packs and runs; nothing to the
        rows of the prior.
    effects : tuple of Component
        Scatter components on a curve of 1, packs of all blocks first, then runs,
        then points; one of several blocks where they have it in common.
    prior : Prior
        Rows below the points, for the parameters of smooths: q in all.
    """

    blocks: tuple[Block, ...]
    reference: ReferenceCondition
    mu: FloatArray
    u_random: FloatArray
    rows: tuple[slice, ...]
    columns: tuple[slice, ...]
    free: BoolArray
    limits: FloatArray
    every_source: tuple[Source, ...]
    influences: Influences
    effects: tuple[Component, ...]
    prior: Prior

    @property
    def unknown(self) -> tuple[str, ...]:
        """Names of the variances to be found: those of the effects, then those of smooths."""
        return (*(effect.name for effect in self.effects), *self.prior.names)

    @property
    def known(self) -> dict[str, CommonScatter]:
        """Scatter found elsewhere, by the name of its component."""
        every = {part.kind: part for block in self.blocks for part in block.common}
        return {kind: part for kind, part in every.items() if part.variance is not None}

    @property
    def sources(self) -> tuple[Source, ...]:
        """The sources that touch two points or more."""
        many = self.influences.many.tolist()
        return tuple(s for s, shared in zip(self.every_source, many, strict=True) if shared)

    def fitted(self, theta: FloatArray) -> FloatArray:
        """Return the fitted curve at every point, (n,)."""
        return np.concatenate(
            [
                block.law.mu(block.conditions, theta[part], self.reference)
                for block, part in zip(self.blocks, self.columns, strict=True)
            ]
        )

    def jacobian(self, theta: FloatArray) -> FloatArray:
        """Return the derivatives of the fitted curve with respect to all parameters, (n, P)."""
        matrix = np.zeros((self.mu.size, theta.size))
        for block, rows, part in zip(self.blocks, self.rows, self.columns, strict=True):
            matrix[rows, part] = block.law.jacobian(block.conditions, theta[part], self.reference)
        return matrix

    def residual(self, theta: FloatArray) -> FloatArray:
        """Return ``mu - curve`` at every point, and below them the rows of the prior, (n + q,)."""
        return np.concatenate([self.mu - self.fitted(theta), self.prior.residual(theta)])

    def tangent(self, theta: FloatArray) -> FloatArray:
        """Return the derivatives of what `residual` is held against, (n + q, P)."""
        return np.concatenate([self.jacobian(theta), self.prior.design(theta.size)])

    def influence(self, theta: FloatArray) -> sparse.csr_array:
        """Return how each source moves ``mu - curve`` in every row, (n + q, m), for one sd."""
        curve = self.prior.below(self.fitted(theta), 1.0)
        total = self.influences.matrix(curve) - self.shift_influence(theta)
        return sparse.csr_array(total)

    def shift_influence(self, theta: FloatArray) -> sparse.csr_array:
        """Return how each source moves the curve at its conditions, (n + q, m), for one sd."""
        return self.influences.shift_matrix(self._slopes(theta))

    def _slopes(self, theta: FloatArray) -> FloatArray:
        """Return the derivatives of the curve by ln v, T and ln p in every row, (3, n + q)."""
        slopes = np.zeros((len(_MOVED), self.mu.size + len(self.prior)))
        if not self.influences.has_shifts:
            return slopes
        for block, rows, part in zip(self.blocks, self.rows, self.columns, strict=True):
            for slope, (above, below) in zip(slopes, block.moved, strict=True):
                sides = (block.law.mu(c, theta[part], self.reference) for c in (above, below))
                slope[rows] = np.subtract(*sides) / (2 * _STEP)
        return slopes

    def linearised(self, theta: FloatArray, free: BoolArray) -> MixedModel:
        """Return the problem linearised at `theta`, its errors scaled to the curve there.

        Its n + q rows are the points, then those of the prior; its components are in the
        order of `unknown`.
        """
        curve, slopes = self.prior.below(self.fitted(theta), 1.0), self._slopes(theta)
        known = self.prior.below(self.u_random**2, STIFF)
        return MixedModel(
            residual=self.residual(theta),
            design=self.tangent(theta)[:, free],
            diagonal=known + self.influences.singles.variance(curve, slopes),
            columns=self.influences.columns(curve, slopes),
            components=(
                *(effect.scaled(curve) for effect in self.effects),
                *self.prior.components(self.mu.size),
            ),
        )


def conditions_of(points: FrictionPoints) -> Conditions:
    """Return the conditions of `points`."""
    return Conditions(
        points.slip_speed_m_s, points.temperature_c, points.pressure_mpa, points.dwell_s
    )


def assemble(blocks: Sequence[Block], reference: ReferenceCondition) -> Design:
    """Return the joint problem of `blocks`; sources with one id are one source.

    Raises
    ------
    FitError
        When a coefficient is not above 0 or a point has no random uncertainty.
    """
    for block in blocks:
        _check(block)
    parts = [block.points for block in blocks]
    points = parts[0] if len(parts) == 1 else concatenate(parts)
    rows = _slices([len(block.points) for block in blocks])
    columns = _slices([len(block.law.parameters) for block in blocks])
    prior = prior_of([block.law for block in blocks], [block.free for block in blocks])
    effects = _all_effects(blocks, rows, len(points) + len(prior))
    parameters = [p for block in blocks for p in block.law.parameters]
    number = [numbered(names)[0] for names in (points.pack, points.run)]
    influences = influences_of(
        rows_of(*(prior.below(each, -1) for each in number)),  # its rows are a run of their own
        prior.below(points.mu, 1.0),
        prior.nothing_below(points.contributions),
        np.array([s.effect is Effect.PROPORTIONAL for s in points.sources], dtype=bool),
        [prior.nothing_below(shift) for shift in points.condition_shifts or ()],
        [own for _, own in effects if own is not None],
    )
    return Design(
        blocks=tuple(blocks),
        reference=reference,
        mu=points.mu,
        u_random=points.u_random,
        rows=rows,
        columns=columns,
        free=np.concatenate([block.free for block in blocks]),
        limits=np.array([(p.low, p.high) for p in parameters]),
        every_source=points.sources,
        influences=influences,
        effects=tuple(component for component, _ in effects),
        prior=prior,
    )


def _all_effects(
    blocks: Sequence[Block], rows: Sequence[slice], n: int
) -> list[tuple[Component, sparse.csr_array | None]]:
    """Return the scatter components that the layout of the points can tell apart.

    Those of packs and runs come first, with their (n, q) columns on a curve of 1.
    """
    effects: dict[str, list[sparse.csr_array]] = {}
    weights: dict[str, FloatArray] = {}
    for i, (block, part) in enumerate(zip(blocks, rows, strict=True)):
        pack, n_packs = numbered(block.points.pack)
        run, n_runs = numbered(block.points.run)
        n_points = len(block.points)
        common = {scatter.kind for scatter in block.common}

        def name(kind: str, end: str = f" {i}", common: Set[str] = common) -> str:
            return kind if len(blocks) == 1 or kind in common else kind + end

        if n_packs > 1:
            effects.setdefault(name("pack"), []).append(_members(pack, n_packs, part, n))
        if n_points > n_runs > n_packs:
            effects.setdefault(name("run"), []).append(_members(run, n_runs, part, n))
        if n_points > max(n_packs, block.n_parameters + 1):
            weights.setdefault(name("misfit"), np.zeros(n))[part] = 1.0
    order = sorted(effects, key=lambda kind: LEVELS.index(kind_of(kind)))
    joined = (sparse.csr_array(sparse.hstack(effects[kind])) for kind in order)
    return [
        *((Component(kind), own) for kind, own in zip(order, joined, strict=True)),
        *((Component(kind, own), None) for kind, own in weights.items()),
    ]


def _members(number: IntArray, count: int, rows: slice, n: int) -> sparse.csr_array:
    """Return which of `count` packs or runs each of n points belongs to; only `rows` do to any."""
    place = np.arange(rows.start, rows.stop)
    return sparse.csr_array((np.ones(number.size), (place, number)), shape=(n, count))


def _slices(sizes: Sequence[int]) -> tuple[slice, ...]:
    ends = np.cumsum([0, *sizes]).tolist()
    return tuple(slice(start, stop) for start, stop in itertools.pairwise(ends))


def _check(block: Block) -> None:
    points = block.points
    wrong = ~(points.mu > 0.0)
    if np.any(wrong):
        raise FitError(
            f"coefficient {points.mu[wrong][0]:.4g} is not above 0",
            where=f"{block.label}, point {points.point[wrong][0]}",
            expected="friction that opposes slip",
            do="Check the sign and the zero of the torque channel, or exclude the run",
        )
    bare = ~(points.u_random > 0.0)
    if np.any(bare):
        raise FitError(
            "the point has no random uncertainty",
            where=f"{block.label}, point {points.point[bare][0]}",
            expected="u_random above 0",
            do="A missing uncertainty is not zero: give it, or mark the point as not used",
        )
