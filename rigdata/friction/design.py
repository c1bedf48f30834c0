"""The points of one or more groups as one covariance problem.

All scatter and all proportional measurement errors are taken relative to the
fitted curve, never to the noisy points: contributions that followed each
point's own noise would pull the fit low (Peelle's puzzle, see `Effect`).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, TextArray
from rigdata.errors import FitError
from rigdata.friction.conditions import Conditions, ReferenceCondition
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
    """

    label: str
    points: FrictionPoints
    law: Law
    held: Mapping[str, float]

    @property
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
    sources : tuple of m Source
        Sources that touch two points or more.
    additive, proportional : (n, m) array
        Their contributions; the proportional ones relative to mu.
    own_additive, own_proportional : (n,) array
        Variance of each point from sources that touch no other point; the
        second relative to mu squared.
    effects : tuple of Component
        Scatter components on a curve of 1, packs of all blocks first, then runs,
        then points.
    """

    blocks: tuple[Block, ...]
    reference: ReferenceCondition
    mu: FloatArray
    u_random: FloatArray
    rows: tuple[slice, ...]
    columns: tuple[slice, ...]
    free: BoolArray
    limits: FloatArray
    sources: tuple[Source, ...]
    additive: FloatArray
    proportional: FloatArray
    own_additive: FloatArray
    own_proportional: FloatArray
    effects: tuple[Component, ...]

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

    def linearised(self, theta: FloatArray, free: BoolArray) -> MixedModel:
        """Return the problem linearised at `theta`, its errors scaled to the curve there."""
        curve = self.fitted(theta)
        components = tuple(effect.scaled(curve) for effect in self.effects)
        return MixedModel(
            residual=self.mu - curve,
            design=self.jacobian(theta)[:, free],
            diagonal=self.u_random**2 + self.own_additive + self.own_proportional * curve**2,
            shared=self.additive + self.proportional * curve[:, None],
            components=components,
        )


def conditions_of(points: FrictionPoints) -> Conditions:
    """Return the conditions of `points`."""
    return Conditions(points.slip_speed_m_s, points.temperature_c, points.pressure_mpa)


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
    shared = np.count_nonzero(matrix, axis=0) > 1
    own = matrix[:, ~shared] ** 2
    own_relative = relative[~shared]
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
        sources=tuple(s for s, many in zip(points.sources, shared, strict=True) if many),
        additive=np.where(relative[shared], 0.0, matrix[:, shared]),
        proportional=np.where(relative[shared], matrix[:, shared], 0.0),
        own_additive=own[:, ~own_relative].sum(axis=1),
        own_proportional=own[:, own_relative].sum(axis=1),
        effects=effects,
    )


def _all_effects(blocks: Sequence[Block], rows: Sequence[slice], n: int) -> tuple[Component, ...]:
    """Return the scatter components that the layout of the points can tell apart."""
    found = []
    for i, (block, part) in enumerate(zip(blocks, rows, strict=True)):
        end = "" if len(blocks) == 1 else f" {i}"
        packs, runs = members(block.points.pack), members(block.points.run)
        n_points, n_packs, n_runs = len(block.points), packs.shape[1], runs.shape[1]
        if n_packs > 1:
            found.append((0, Component("pack" + end, factors=_placed(packs, part, n))))
        if n_points > n_runs > n_packs:
            found.append((1, Component("run" + end, factors=_placed(runs, part, n))))
        if n_points > max(n_packs, int(np.sum(block.free)) + 1):
            span = _placed(np.ones((n_points, 1)), part, n)[:, 0]
            found.append((2, Component("misfit" + end, weights=span)))
    return tuple(component for _, component in sorted(found, key=lambda item: item[0]))


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
