"""Outliers, and the allowance by which a fit keeps them without being steered by them.

An outlier that lies `t` of its standard deviations `u` off, where `c` are allowed,
counts ``w = max((c / t)^8, 1 / t^2)`` of one that is like the others.  To that end
it gets an error of its own of the size ``e = u sqrt(1 / w - 1)``: one more source,
which it shares with nothing else.  So the weight falls steadily from 1 at the
cutoff, and an outlier far off is taken to be all error: it then lies one standard
deviation off and inflates no scatter.  As a source, the allowance is carried by
whatever is made from the points: joint fits, budgets, Monte Carlo.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.sources import Effect, Scope, Source

POINT, RUN = "point", "run"
ALLOWANCE = "outlier-allowance"  # kind of the sources
_STEEPNESS = 8.0


@dataclass(frozen=True)
class Outlier:
    """A point or a run that a fit counts less than the others.

    Attributes
    ----------
    kind : str
        ``point`` or ``run``.
    name : str
        Of the point or run.
    run, pack : str
        Where it belongs.
    deviation : float
        Of it from what all the others predict, relative to mu.
    u : float
        Standard deviation of that, were it like the others.
    cutoff : float
        How many of these one that is like the others may be off.
    may_be : str
        What to look for first.
    """

    kind: str
    name: str
    run: str
    pack: str
    deviation: float
    u: float
    cutoff: float
    may_be: str

    @property
    def weight(self) -> float:
        """What it counts beside one that is like the others, from 0 to 1."""
        t = abs(self.deviation) / self.u
        return float(min(1.0, max((self.cutoff / t) ** _STEEPNESS, t**-2.0)))

    @property
    def allowance(self) -> float:
        """Standard deviation of its own error, relative to mu."""
        return self.u * float(np.sqrt(1.0 / self.weight - 1.0))

    def members(self, points: FrictionPoints) -> BoolArray:
        """Return which of `points` it is about, (n,)."""
        mask: BoolArray = (points.point if self.kind == POINT else points.run) == self.name
        return mask

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON, the weight among them."""
        return {**asdict(self), "weight": self.weight}

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Outlier:
        """Return the outlier that `to_dict` described."""
        return Outlier(**{name: value for name, value in data.items() if name != "weight"})


def with_allowances(points: FrictionPoints, outliers: Sequence[Outlier]) -> FrictionPoints:
    """Return `points` with the allowances of `outliers` among their sources."""
    if not outliers:
        return points
    sources, columns = [], []
    for outlier in outliers:
        scope = Scope.POINT if outlier.kind == POINT else Scope.RUN
        words = f"allowance for outlying {outlier.kind} {outlier.name}"
        name = f"{ALLOWANCE}:{outlier.kind}:{outlier.name}"
        sources.append(Source(name, scope, Effect.PROPORTIONAL, words))
        columns.append(outlier.allowance * points.mu * outlier.members(points))
    more = sparse.csr_array(np.array(columns).T)
    still = sparse.csr_array(more.shape)
    contributions, *shifts = (
        sparse.csr_array(sparse.hstack([matrix, added]))
        for matrix, added in zip(points.influences, (more, still, still, still), strict=True)
    )
    return replace(
        points,
        sources=(*points.sources, *sources),
        contributions=contributions,
        condition_shifts=tuple(shifts),
    )


def without_allowances(points: FrictionPoints) -> FrictionPoints:
    """Return `points` without the allowances of outliers."""
    kept = [i for i, source in enumerate(points.sources) if source.kind != ALLOWANCE]
    contributions, *shifts = (matrix[:, kept] for matrix in points.influences)
    return replace(
        points,
        sources=tuple(points.sources[i] for i in kept),
        contributions=contributions,
        condition_shifts=tuple(shifts),
    )


def point_weights(points: FrictionPoints, outliers: Sequence[Outlier]) -> FloatArray:
    """Return what each point counts, (n,): its own weight times that of its run."""
    weights = np.ones(len(points))
    for outlier in outliers:
        weights[outlier.members(points)] *= outlier.weight
    return weights


def may_be_point(points: FrictionPoints, outlying: BoolArray, which: int) -> str:
    """Say what to look for behind an outlying point, by its place among those of its run.

    Parameters
    ----------
    points : FrictionPoints
    outlying : (n,) bool array
        All outlying points.
    which : int
        The one to explain.
    """
    own = np.flatnonzero(points.run == points.run[which])
    own = own[np.argsort(points.start_s[own], kind="stable")]
    bad = outlying[own]
    place = int(np.flatnonzero(own == which)[0])
    first, last = place, place
    while first > 0 and bad[first - 1]:
        first -= 1
    while last + 1 < bad.size and bad[last + 1]:
        last += 1
    if points.kind[which] == "static":
        return "a breakaway that was missed or read from a spike"
    if last == bad.size - 1 and bad.size > 1:
        return "a load that dropped, or heat, at the end of the run"
    if first == 0 and bad.size > 1:
        return "a load not yet on the plates at the start of the run"
    if last > first:
        return "a burst of stick-slip, or a disturbed channel"
    return "a spike, or a window that was not steady"


def may_be_run(deviation: float) -> str:
    """Say what to look for behind a run that is off as a whole."""
    if abs(deviation) > 0.5:
        return "a wrong pack, unit or load range in the campaign file"
    return "clamp load or torque zero off, oil or plates not as in the other runs of the pack"
