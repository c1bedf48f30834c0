"""The settling of all packs of a group, whose points follow the same conditions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.bedding.courses import Courses
from rigdata.bedding.noise import Layout, Noise, Problem, find_noise
from rigdata.bedding.settling import Course, Settling, settle

_TURNS = 2
_CHANGES = 0.05  # p below which a change counts while the others are sought
_START = Noise(point=0.003, alike=0.3, run=0.005, point_dof=1.0, run_dof=1.0)
_COMMON = (0.01, 1.0, 14)  # of the work tested: values of a w0 that all packs share
_LEAST_SHARE = 1e-6  # of a column: one that is nought everywhere determines nothing
_SPIKE = 8.0  # robust standard deviations


@dataclass(frozen=True, eq=False)
class SettledGroup:
    """The settling of every pack of a group.

    Attributes
    ----------
    courses : Courses
        Without the spikes that were set aside.
    settlings : mapping of pack to Settling
    noise : Noise
    level : (n,) float
        ln mu of a steady pack at the condition of each point.
    """

    courses: Courses
    settlings: Mapping[str, Settling]
    noise: Noise
    level: FloatArray


def settle_group(courses: Courses) -> SettledGroup:
    """Find the changes of all packs, the effects of conditions and the scatter together.

    Notes
    -----
    ``ln mu = m + sum z_i x_i + a exp(-(w - w1) / w0) + run + point``: a level, a change
    and its w0 for each pack, and for the group the `surroundings` x, whose factors z
    are 0 within 1 standard deviation beforehand.  The law that is fitted later is of no
    use here: one flexible enough would take a change in the first run for an effect of
    its conditions, and what cannot be told apart must widen the interval.

    Scatter and changes are found in turn, as either needs the other, after the points
    that stand alone far from their run are set aside.
    """
    first = _settled(courses, _START, _common(courses), turns=1)
    spikes = _spikes(first)
    if np.any(spikes):
        courses = courses.select(~spikes)
    return _settled(courses, first.noise, _changing(courses, first.settlings))


def _settled(
    courses: Courses, noise: Noise, changes: Mapping[str, FloatArray], turns: int = _TURNS
) -> SettledGroup:
    """Settle every pack in turn beside the `changes` of the others, as they stand."""
    found: dict[str, Settling] = {}
    changes = dict(changes)
    for _ in range(turns):
        shares = _laid(courses, {pack: part[:, :1] for pack, part in changes.items()})
        noise = find_noise(_Fit(courses, noise, shares).problem, noise)
        for pack in courses.packs:
            changes.pop(pack, None)
            one = settle(_Fit(courses, noise, _laid(courses, changes)).course(pack))
            if one is not None:
                found[pack] = one
                changes |= _changing(courses, {pack: one})
    shares = _laid(courses, {pack: part[:, :1] for pack, part in changes.items()})
    return SettledGroup(courses, found, noise, _Fit(courses, noise, shares).level)


def _common(courses: Courses) -> dict[str, FloatArray]:
    """Return the change of each pack by the one w0 that explains most, (n, 1) each.

    Packs that go through the same runs are told apart from an effect of the conditions
    only together, so none can be found while the others are taken not to change.
    """
    done = {
        pack: courses.work_kj[rows] - courses.work_kj[rows][0]
        for pack, rows in courses.rows.items()
    }
    longest = max(float(own[-1]) for own in done.values())
    tried = [
        {pack: np.exp(-own / scale)[:, None] for pack, own in done.items()}
        for scale in longest * np.geomspace(*_COMMON)
    ]
    return min(tried, key=lambda parts: _Fit(courses, _START, _laid(courses, parts)).squares)


def _changing(courses: Courses, found: Mapping[str, Settling]) -> dict[str, FloatArray]:
    """Return the change of each pack that shows one, and what it is by another w0, (n, 2) each."""
    return {
        pack: one.columns(courses.work_kj[courses.rows[pack]])
        for pack, one in found.items()
        if one.p < _CHANGES
    }


def _laid(courses: Courses, parts: Mapping[str, FloatArray]) -> FloatArray:
    """Return the columns of single packs as columns over all points, (n, k)."""
    columns = []
    for pack, part in parts.items():
        for column in part.T:
            if np.max(np.abs(column)) > _LEAST_SHARE:
                columns.append(np.zeros(courses.value.size))
                columns[-1][courses.rows[pack]] = column
    return np.reshape(columns, (len(columns), courses.value.size)).T


@dataclass(frozen=True, eq=False)
class _Fit:
    """Levels, surroundings and given changes fitted to all points, in units of their errors."""

    courses: Courses
    noise: Noise
    changes: FloatArray

    @cached_property
    def problem(self) -> Problem:
        """What is fitted."""
        courses = self.courses
        levels = np.zeros((courses.value.size, len(courses.packs)))
        for column, rows in enumerate(courses.rows.values()):
            levels[rows, column] = 1.0
        fixed = np.concatenate([levels, self.changes], axis=1)
        return Problem(courses.layout, courses.value, fixed, courses.surroundings)

    @cached_property
    def _solved(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Basis of the columns, the values less what they explain, and their factors.

        Below the n points stand q rows that hold the factors of the surroundings to 0
        within 1.
        """
        problem, q = self.problem, self.courses.surroundings.shape[1]
        columns = [problem.fixed, problem.surroundings, problem.value[:, None]]
        white = self.noise.whitened(np.concatenate(columns, axis=1), problem.layout)
        prior = np.zeros((q, white.shape[1]))
        prior[:, -1 - q : -1] = np.eye(q)
        stacked = np.concatenate([white, prior])
        basis, triangle = np.linalg.qr(stacked[:, :-1])
        along = basis.T @ stacked[:, -1]
        return basis, stacked[:, -1] - basis @ along, np.linalg.solve(triangle, along)

    @property
    def level(self) -> FloatArray:
        """(n,) ln mu without the changes."""
        factors = self._solved[2].copy()
        levels, k = len(self.courses.packs), self.problem.fixed.shape[1]
        found: FloatArray = self.problem.fixed[:, :levels] @ factors[:levels]
        return found + self.courses.surroundings @ factors[k:]

    @property
    def squares(self) -> float:
        """Sum of squares that is left."""
        rest = self._solved[1]
        return float(rest @ rest)

    def against(self, pack: str, columns: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the products with the values and the squares of a pack's columns, (k,) each.

        Both of what all else that is fitted leaves of them.
        """
        basis, rest, _ = self._solved
        rows, layout = self.courses.rows[pack], self.courses.layout
        own = Layout(layout.run[rows], layout.known[rows])
        white = self.noise.whitened(columns, own)
        explained = np.sum((basis[rows].T @ white) ** 2, axis=0)
        return rest[rows] @ white, np.sum(white**2, axis=0) - explained

    def course(self, pack: str) -> Course:
        """Return the course of a pack whose own change is not among those given."""

        def dof(column: FloatArray) -> float:
            def variance(noise: Noise) -> float:
                fit = self if noise is self.noise else replace(self, noise=noise)
                return 1.0 / float(fit.against(pack, column[:, None])[1][0])

            return self.noise.dof(variance)

        return Course(
            work=self.courses.work_kj[self.courses.rows[pack]],
            squares=self.squares,
            against=partial(self.against, pack),
            dof=dof,
        )


def _spikes(group: SettledGroup) -> BoolArray:
    """Return which points stand alone far from their run, as no change of a pack does."""
    courses = group.courses
    off = courses.value - group.level
    for pack, rows in courses.rows.items():
        one = group.settlings.get(pack)
        if one is not None:
            off[rows] -= one.change * one.share_left(courses.work_kj[rows])
    middle = np.array([np.median(part) for part in np.split(off, courses.layout.starts[1:])])
    off -= np.repeat(middle, courses.layout.lengths)
    far = np.abs(off) > _SPIKE * 1.4826 * max(float(np.median(np.abs(off))), 1e-6)
    padded = np.concatenate([[False], far, [False]])
    alone: BoolArray = far & ~padded[:-2] & ~padded[2:]
    return alone
