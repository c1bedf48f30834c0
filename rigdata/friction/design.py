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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, TextArray
from rigdata.errors import FitError
from rigdata.friction.conditions import Conditions, ReferenceCondition
from rigdata.friction.estimate import LEVELS, CommonScatter, kind_of
from rigdata.friction.laws.base import Law
from rigdata.friction.mixed_model import Component, MixedModel
from rigdata.reduction.points import FrictionPoints, concatenate
from rigdata.uncertainty.sources import Effect, Source


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

    @property
    def free(self) -> BoolArray:
        """(p,) whether each parameter is fitted."""
        return np.array([name not in self.held for name in self.law.names])


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
    many : (m,) bool
        Whether each source touches two points or more.
    additive, proportional : (n, m) array
        Their contributions to mu; the proportional ones relative to mu.
    shifts : (3, n, m) array
        Their shifts of the conditions, as `FrictionPoints.condition_shifts`.
    effects : tuple of Component
        Scatter components on a curve of 1, packs of all blocks first, then runs,
        then points; one of several blocks where they have it in common.
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
    many: BoolArray
    additive: FloatArray
    proportional: FloatArray
    shifts: FloatArray
    effects: tuple[Component, ...]

    @property
    def known(self) -> dict[str, CommonScatter]:
        """Scatter found elsewhere, by the name of its component."""
        every = {part.kind: part for block in self.blocks for part in block.common}
        return {kind: part for kind, part in every.items() if part.variance is not None}

    @property
    def sources(self) -> tuple[Source, ...]:
        """The sources that touch two points or more."""
        return tuple(s for s, many in zip(self.every_source, self.many, strict=True) if many)

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

    def influence(self, theta: FloatArray) -> FloatArray:
        """Return how each source moves ``mu - curve`` at every point, (n, m), for one sd."""
        total = self.additive + self.proportional * self.fitted(theta)[:, None]
        if not self.shifts.any():
            return total
        for slope, shift in zip(self._slopes(theta), self.shifts, strict=True):
            total = total - slope[:, None] * shift
        return total

    def _slopes(self, theta: FloatArray) -> list[FloatArray]:
        """Return the derivatives of the curve by ln v, T and ln p at every point, 3 times (n,)."""
        found = []
        for moved in _MOVED:
            sides = [
                np.concatenate(
                    [
                        block.law.mu(moved(block.conditions, step), theta[part], self.reference)
                        for block, part in zip(self.blocks, self.columns, strict=True)
                    ]
                )
                for step in (_STEP, -_STEP)
            ]
            found.append((sides[0] - sides[1]) / (2 * _STEP))
        return found

    def linearised(self, theta: FloatArray, free: BoolArray) -> MixedModel:
        """Return the problem linearised at `theta`, its errors scaled to the curve there."""
        curve = self.fitted(theta)
        influence = self.influence(theta)
        own = influence[:, ~self.many]
        return MixedModel(
            residual=self.mu - curve,
            design=self.jacobian(theta)[:, free],
            diagonal=self.u_random**2 + np.sum(own**2, axis=1),
            shared=influence[:, self.many],
            components=tuple(effect.scaled(curve) for effect in self.effects),
        )


_STEP = 1e-4
_MOVED: tuple[Callable[[Conditions, float], Conditions], ...] = (
    lambda c, h: replace(c, slip_speed_m_s=c.slip_speed_m_s * np.exp(h)),
    lambda c, h: replace(c, temperature_c=c.temperature_c + h),
    lambda c, h: replace(c, pressure_mpa=c.pressure_mpa * np.exp(h)),
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
    points = concatenate([block.points for block in blocks])
    n = len(points)
    rows = _slices([len(block.points) for block in blocks])
    columns = _slices([len(block.law.parameters) for block in blocks])
    matrix = points.contributions.toarray()
    relative = np.array([s.effect is Effect.PROPORTIONAL for s in points.sources], dtype=bool)
    matrix[:, relative] /= points.mu[:, None]
    shifts = np.array([shift.toarray() for shift in points.condition_shifts or ()])
    touched = (matrix != 0.0) | np.any(shifts != 0.0, axis=0)
    effects = _all_effects(blocks, rows, n)
    parameters = [p for block in blocks for p in block.law.parameters]
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
        many=np.count_nonzero(touched, axis=0) > 1,
        additive=np.where(relative, 0.0, matrix),
        proportional=np.where(relative, matrix, 0.0),
        shifts=shifts,
        effects=effects,
    )


def _all_effects(blocks: Sequence[Block], rows: Sequence[slice], n: int) -> tuple[Component, ...]:
    """Return the scatter components that the layout of the points can tell apart."""
    found: dict[str, list[Component]] = {}
    for i, (block, part) in enumerate(zip(blocks, rows, strict=True)):
        packs, runs = members(block.points.pack), members(block.points.run)
        n_points, n_packs, n_runs = len(block.points), packs.shape[1], runs.shape[1]
        here = []
        if n_packs > 1:
            here.append(Component("pack", factors=_placed(packs, part, n)))
        if n_points > n_runs > n_packs:
            here.append(Component("run", factors=_placed(runs, part, n)))
        if n_points > max(n_packs, int(np.sum(block.free)) + 1):
            span = _placed(np.ones((n_points, 1)), part, n)[:, 0]
            here.append(Component("misfit", weights=span))
        common = {scatter.kind for scatter in block.common}
        for component in here:
            kind = component.name
            name = kind if len(blocks) == 1 or kind in common else f"{kind} {i}"
            found.setdefault(name, []).append(component)
    order = sorted(found, key=lambda name: LEVELS.index(kind_of(name)))
    return tuple(_merged(name, found[name]) for name in order)


def _merged(name: str, parts: Sequence[Component]) -> Component:
    """Return one component with the effects of all `parts`."""
    factors = [part.factors for part in parts if part.factors is not None]
    weights = [part.weights for part in parts if part.weights is not None]
    return Component(
        name,
        factors=np.concatenate(factors, axis=1) if factors else None,
        weights=np.sum(weights, axis=0) if weights else None,
    )


def members(names: TextArray) -> FloatArray:
    """Return which of the different `names` each point has, as a (n, q) matrix of 0 and 1."""
    different, place = np.unique(names, return_inverse=True)
    matrix = np.zeros((names.size, different.size))
    matrix[np.arange(names.size), place] = 1.0
    return matrix


def _placed(matrix: FloatArray, rows: slice, n: int) -> FloatArray:
    whole = np.zeros((n, matrix.shape[1]))
    whole[rows] = matrix
    return whole


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
