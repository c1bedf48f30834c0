"""Whole runs of a fit in small matrices: what a shift of some of them would explain.

For r runs with the shifts Z, everything about them follows from ``G = Z^T P Z`` and
``g = Z^T P y``, whatever the number of points.  A change D of the covariance of the
runs' effects gives ``(I + G D)^-1 G`` and ``(I + G D)^-1 g``, so that the scatter
between runs and between packs can be estimated anew without any set of runs, by
restricted maximum likelihood and exactly, at the cost of a few r by r solutions.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.estimate import kind_of
from rigdata.friction.mixed_model import Profile
from rigdata.friction.nesting import RUN
from rigdata.friction.spectrum import Effects, spectrum

_TURNS = 30
_EXCHANGES = 10
_STILL = 1e-14  # gain in likelihood of the last step
_LEAST_PIVOT = 1e-6
_LEAST_LEFT = 1e-6  # of what a run's points hold, that the law itself does not take up
_COMPARED = 3  # first runs from which sets are grown


@dataclass(frozen=True, eq=False)
class RunSpace:
    """Whole runs at given scatter.

    Attributes
    ----------
    gram, pull : (r, r) and (r,) array
        G and g.
    pack_of : (r,) int array
        Number of each run's pack.
    scatter : (2,) array
        Variances between runs and between packs.
    has_packs : bool
        Whether there is a variance between packs.
    least : (r,) array
        Pivots below these are rounding: the law itself follows that run.
    """

    gram: FloatArray
    pull: FloatArray
    pack_of: IntArray
    scatter: FloatArray
    has_packs: bool
    least: FloatArray

    @classmethod
    def of(cls, at: Profile, kind: str, variances: FloatArray, pack_of: IntArray) -> RunSpace:
        """Return the runs of a fitted model, or its packs as if each were a run of its own.

        Parameters
        ----------
        at : Profile
            At the fitted variances, of one group.
        kind : str
            ``run`` or ``pack``: the component whose effects are the shifts.
        variances : (c,) array
            The fitted variances.
        pack_of : (r,) int array
            Number of the pack of each, in the order of their names.
        """
        kinds = [kind_of(component.name) for component in at.model.components]
        place = kinds.index(kind)
        packs = kinds.index("pack") if kind == "run" and "pack" in kinds else None
        gram, held = _effects(at, place)
        return cls(
            gram=gram,
            pull=at.model.by_component(at.projected[:, None])[place][:, 0],
            pack_of=pack_of,
            scatter=np.array([variances[place], 0.0 if packs is None else variances[packs]]),
            has_packs=packs is not None,
            least=_LEAST_LEFT * held,
        )

    @property
    def packs(self) -> FloatArray:
        """(r, q) which pack each run belongs to; without columns where none differ."""
        count = int(self.pack_of.max(initial=-1)) + 1 if self.has_packs else 0
        which: FloatArray = (self.pack_of[:, None] == np.arange(count)).astype(float)
        return which

    def open_gains(self, taken: Sequence[int]) -> FloatArray:
        """(r,) fall of the squared residuals if one more run is shifted; 0 where none may be.

        Half the runs of a pack may be outliers at the most: beyond that it is the
        pack that differs, and packs are what the scatter is about.
        """
        which = np.array(taken, dtype=np.int64)
        room = np.bincount(self.pack_of) // 2
        np.subtract.at(room, self.pack_of[which], 1)
        pivots = np.diag(self.gram)
        open_ = (room[self.pack_of] > 0) & (pivots > self.least)
        open_[which] = False
        gains: FloatArray = np.where(open_, self.pull**2 / np.where(open_, pivots, 1.0), 0.0)
        return gains

    def without(self, runs: Iterable[int]) -> RunSpace:
        """Return what is left once some runs are shifted."""
        gram, pull = self.gram, self.pull
        for run in runs:
            line = gram[:, run] / np.sqrt(gram[run, run])
            pull = pull - line * (pull[run] / np.sqrt(gram[run, run]))
            gram = gram - np.outer(line, line)
        return replace(self, gram=gram, pull=pull)

    def at_scatter(self, scatter: FloatArray) -> RunSpace:
        """Return the same runs at another scatter."""
        change, packs = scatter - self.scatter, self.packs
        added = change[0] * np.eye(self.pull.size) + change[1] * packs @ packs.T
        both = np.linalg.solve(
            np.eye(self.pull.size) + self.gram @ added,
            np.concatenate([self.gram, self.pull[:, None]], axis=1),
        )
        return replace(self, gram=both[:, :-1], pull=both[:, -1], scatter=scatter)

    def score(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the derivative of the restricted likelihood, its information, the traces."""
        packs = self.packs
        across = self.gram @ packs
        within = packs.T @ across
        trace = np.array([np.trace(self.gram), np.trace(within)])
        squares = np.array([self.pull @ self.pull, np.sum((self.pull @ packs) ** 2)])
        mixed = np.sum(across**2)
        information = 0.5 * np.array([[np.sum(self.gram**2), mixed], [mixed, np.sum(within**2)]])
        return 0.5 * (squares - trace), information, trace

    def fitted_without(self, runs: Sequence[int]) -> RunSpace:
        """Return these runs at the scatter of greatest restricted likelihood without some."""
        here = self
        for _ in range(_TURNS):
            slope, information, _ = here.without(runs).score()
            free = (here.scatter > 0.0) | (slope > 0.0)
            free[1] &= self.has_packs
            if not free.any():
                break
            step = np.zeros(2)
            step[free] = np.linalg.lstsq(information[np.ix_(free, free)], slope[free])[0]
            scatter = np.maximum(here.scatter + step, 0.0)
            gain = float(slope @ (scatter - here.scatter))
            if gain <= _STILL:
                break
            here = self.at_scatter(scatter)
        return here

    def dof_without(self, runs: Sequence[int]) -> float:
        """Return the degrees of freedom of the scatter between runs without some of them."""
        _, information, trace = self.without(runs).score()
        own, left = 2.0 * information[0, 0], trace[0]
        if information[1, 1] > 0.0:
            share = information[0, 1] / information[1, 1]
            own, left = own - 2.0 * share * information[0, 1], left - share * trace[1]
        return float(max(left, 0.0) ** 2 / own) if own > 0.0 else 0.0

    def t(self, runs: Sequence[int]) -> FloatArray:
        """Return how far each of some runs lies off all the others, in standard deviations."""
        which = np.array(runs, dtype=np.int64)
        covariance = np.linalg.inv(self.gram[np.ix_(which, which)])
        size: FloatArray = np.abs(covariance @ self.pull[which]) / np.sqrt(np.diag(covariance))
        return size

    def most_t(self, runs: Sequence[int], dof: float) -> float:
        """Return how large the least of `t` can get once the scatter is estimated without them.

        Without them the squared residuals, and with them the scatter, are smaller in
        a known ratio; what is known from measurement does not shrink.
        """
        which = np.array(runs, dtype=np.int64)
        inner = self.gram[np.ix_(which, which)]
        explained = float(self.pull[which] @ np.linalg.solve(inner, self.pull[which]))
        if dof <= max(explained, which.size):
            return np.inf
        ratio = (dof - explained) / (dof - which.size)
        return float(np.min(self.t(runs)) / np.sqrt(ratio))

    def sets(self, size: int) -> list[tuple[int, ...]]:
        """Return sets of `size` runs that explain much, grown from the best runs and pair."""
        gains = self.open_gains(())
        singles = np.argsort(-gains, kind="stable")[:_COMPARED].tolist()
        starts = [[run] for run in singles if gains[run] > 0.0]
        if size > 1 and len(set(self._best_pair)) == 2:
            starts.insert(0, list(self._best_pair))
        found = dict.fromkeys(self._exchanged(start, size) for start in starts)
        return [members for members in found if len(members) == size]

    @cached_property
    def _best_pair(self) -> tuple[int, int]:
        """The two runs that explain most together: neither may stand out alone."""
        gram, own, pull = self.gram, np.diag(self.gram), self.pull
        open_ = self.open_gains(()) > 0.0
        determinant = np.outer(own, own) - gram**2
        both = np.outer(pull**2, own) + np.outer(own, pull**2) - 2.0 * np.outer(pull, pull) * gram
        good = open_[:, None] & open_ & (determinant > _LEAST_PIVOT * np.outer(own, own))
        room = np.bincount(self.pack_of) // 2
        same = self.pack_of[:, None] == self.pack_of
        good &= ~(same & (room[self.pack_of] < 2))
        best = np.argmax(np.where(good, both / np.where(good, determinant, 1.0), 0.0))
        first, second = np.unravel_index(best, gram.shape)
        return int(first), int(second)

    def _exchanged(self, members: list[int], size: int) -> tuple[int, ...]:
        """Add runs one by one, then exchange each for a better one until there is none."""
        for _ in range(_EXCHANGES):
            before = list(members)
            for place in range(size):
                others = [run for i, run in enumerate(members) if i != place]
                gains = self.without(others).open_gains(others)
                best = int(np.argmax(gains))
                if gains[best] > 0.0:
                    members = [*members[:place], best, *members[place + 1 :]]
            if members == before:
                break
        return tuple(sorted(members))


def _effects(at: Profile, place: int) -> tuple[FloatArray, FloatArray]:
    """Return ``Z^T P Z`` (r, r) of a component's effects, and ``Z^T D^-1 Z`` of each, (r,).

    Those of runs follow from the nested elimination; of others there are few.
    """
    slots, inverse = at.model.columns.slots, at.inverse
    own = np.flatnonzero(slots.owner == place)
    if np.all(slots.reach[own] == RUN):
        effects = Effects.of(slots, len(at.model.components))
        found = spectrum(effects, inverse.moments, inverse.elimination)
        slot, homes = int(slots.slot[own[0]]), slots.home[own]
        gram = found.gram_of_runs(slot - effects.run.start, slots.rows.pack_of)
        return gram[np.ix_(homes, homes)], inverse.moments.run[homes, slot, slot]
    unit = np.zeros((len(slots), own.size))
    unit[own, np.arange(own.size)] = 1.0
    columns = at.model.columns.push(unit)
    return columns.T @ at.project(columns), (columns**2).T @ at.inverse_diagonal
