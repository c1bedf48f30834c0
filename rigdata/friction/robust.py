"""The choice of the law with outliers kept from steering it.

An outlier can be a reason to take a more complex law, which then bends towards
it.  So every law is asked what the points look like from it, and the one that
explains most for its parameters, each outlier counted as one and as chosen among
all, says which points and runs are outliers.  All laws are then fitted anew with
their allowances.  Where no law sees an outlier, nothing is fitted twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import TextArray
from rigdata.campaign.campaign import Reference
from rigdata.errors import FitError, Notice, Severity
from rigdata.friction.allowances import (
    POINT,
    RUN,
    Outlier,
    may_be_point,
    may_be_run,
    with_allowances,
)
from rigdata.friction.candidates import Candidate, candidates
from rigdata.friction.design import Block, assemble
from rigdata.friction.joint import JointFit, joint_fit
from rigdata.friction.laws.base import Law
from rigdata.friction.outliers import Case, Outliers, find_outliers, most_gain
from rigdata.friction.selection import Ranking, choose
from rigdata.reduction.points import FrictionPoints

_ROUNDS = 4
_TURNS = 20
_SAME_WEIGHT = 1e-6


@dataclass(frozen=True, eq=False)
class RobustRanking:
    """The laws of a group and what was counted less in choosing one.

    Attributes
    ----------
    ranking : Ranking
        Laws fitted to `points`.
    points : FrictionPoints
        With the allowances of `outliers`.
    outliers : tuple of Outlier
    trouble : str
        Why the search for outliers came to no good end; empty when it did.
    """

    ranking: Ranking
    points: FrictionPoints
    outliers: tuple[Outlier, ...]
    trouble: str


def rank_robustly(
    label: str, points: FrictionPoints, laws: Sequence[Law], reference: Reference
) -> RobustRanking:
    """Fit every law and choose one, with outliers counted less.

    Raises
    ------
    FitError
        When no law could be fitted.
    """
    found = candidates(label, points, laws, reference)
    view = _best_view(label, points, found, reference)
    ranking, allowed, best = choose(label, points, found), points, None
    for _ in range(_ROUNDS):
        if view is None:
            break
        view = _settled(view, reference)
        if best is not None and view.worth >= best.worth:
            break
        best = view
        allowed = with_allowances(points, view.outliers)
        ranking = choose(label, points, candidates(label, allowed, laws, reference))
        chosen = ranking.chosen
        same = (chosen.law.name, chosen.held) == (view.bare.law.name, tuple(view.bare.held))
        view = None if same else _view(label, points, chosen, reference, view.outliers)
    if best is None:
        return RobustRanking(ranking, points, (), "")
    return RobustRanking(ranking, allowed, best.outliers, best.trouble)


@dataclass(frozen=True, eq=False)
class _View:
    """What the points look like from one law.

    Attributes
    ----------
    bare : Block
        The points without allowances, and the law.
    fit : JointFit
        Of that law, with the allowances found before.
    outliers : tuple of Outlier
    worth : float
        The AICc with each outlier a parameter, and with the choice of it among all.
    trouble : str
    """

    bare: Block
    fit: JointFit
    outliers: tuple[Outlier, ...]
    worth: float
    trouble: str


def _best_view(
    label: str, points: FrictionPoints, found: Sequence[Candidate], reference: Reference
) -> _View | None:
    """Return the view in which outliers explain most; None where there are none to be seen."""
    seen = [c for c in found if c.fit is not None and c.score.aicc is not None]
    seen = [c for c in seen if c.usable] or seen
    worth, best = min((c.score.aicc or 0.0 for c in seen), default=np.inf), None
    for candidate in seen:
        assert candidate.fit is not None
        case = _case(points, candidate.fit)
        gain = most_gain(case, candidate.fit.profile)
        if gain > 0.0 and (candidate.score.aicc or 0.0) - gain < worth:
            view = _view(label, points, candidate, reference, ())
            if view is not None and view.outliers and view.worth < worth:
                worth, best = view.worth, view
    return best


def _view(
    label: str,
    points: FrictionPoints,
    candidate: Candidate,
    reference: Reference,
    known: Sequence[Outlier],
) -> _View | None:
    if candidate.fit is None:
        return None
    neutral = {p.name: p.neutral for p in candidate.law.parameters if p.neutral is not None}
    held = {name: neutral[name] for name in candidate.held}
    bare = Block(label, points, candidate.law, held)
    return _seen_from(candidate.fit, bare, reference, known)


def _settled(view: _View, reference: Reference) -> _View:
    """Fit a law with the allowances of its outliers until their weights stand still."""
    for _ in range(_TURNS):
        block = replace(view.bare, points=with_allowances(view.bare.points, view.outliers))
        try:
            fit = joint_fit([block], reference, [view.fit.estimate.theta])
        except FitError as error:
            return replace(view, trouble=f"the weights of the outliers are not final: {error.what}")
        last, view = view, _seen_from(fit, view.bare, reference, view.outliers)
        if _alike(view.outliers, last.outliers):
            return view
    return replace(view, trouble="the weights of the outliers did not settle")


def _seen_from(fit: JointFit, bare: Block, reference: Reference, known: Sequence[Outlier]) -> _View:
    """Return the outliers among `bare` points about the curve of a fit."""
    points, theta = bare.points, fit.estimate.theta
    free = np.diag(fit.estimate.covariance) > 0.0
    model = assemble([bare], reference).linearised(theta, free)
    case = replace(_case(points, fit), model=model)
    runs = np.unique(points.run)
    suspects = np.flatnonzero(np.isin(runs, [o.name for o in known if o.kind == RUN]))
    found = find_outliers(case, suspects)
    return _View(bare, fit, _named(points, found, runs), _worth(case, found), found.trouble)


def _worth(case: Case, found: Outliers) -> float:
    n, p = case.model.design.shape
    k = p + len(case.model.components) + len(found)
    spare = n - k - 1
    if spare <= 0:
        return np.inf
    choice = found.points.size * np.log(n) + found.runs.size * np.log(case.pack_of.size)
    return float(2.0 * (k + choice - found.log_likelihood) + 2.0 * k * (k + 1) / spare)


def _named(points: FrictionPoints, found: Outliers, runs: TextArray) -> tuple[Outlier, ...]:
    numbers = zip(found.deviation.tolist(), found.u.tolist(), found.cutoff.tolist(), strict=True)
    outlying = np.zeros(len(points), dtype=bool)
    outlying[found.points] = True
    outliers = []
    for which in found.points.tolist():
        place = str(points.point[which]), str(points.run[which]), str(points.pack[which])
        words = may_be_point(points, outlying, which)
        outliers.append(Outlier(POINT, *place, *next(numbers), words))
    for name in runs[found.runs].tolist():
        pack = str(points.pack[points.run == name][0])
        deviation, u, cutoff = next(numbers)
        outliers.append(Outlier(RUN, name, name, pack, deviation, u, cutoff, may_be_run(deviation)))
    return tuple(outliers)


def _case(points: FrictionPoints, fit: JointFit) -> Case:
    _, first, run = np.unique(points.run, return_index=True, return_inverse=True)
    pack = np.unique(points.pack, return_inverse=True)[1]
    return Case(fit.model, fit.estimate.variances, fit.curve, run, pack[first])


def _alike(some: Sequence[Outlier], others: Sequence[Outlier]) -> bool:
    if [(o.kind, o.name) for o in some] != [(o.kind, o.name) for o in others]:
        return False
    pairs = zip(some, others, strict=True)
    return all(abs(a.weight / b.weight - 1.0) <= _SAME_WEIGHT for a, b in pairs)


def outlier_notices(outliers: Sequence[Outlier], trouble: str, where: str) -> tuple[Notice, ...]:
    """Return what the user must know of the outliers, those of one run together."""
    found = []
    for outlier in outliers:
        if outlier.kind == RUN:
            what = (
                f"run {outlier.name} of pack {outlier.pack} lies {100 * outlier.deviation:+.2g} % "
                f"off what the other runs say of it; it counts {outlier.weight:.2g} of a run"
            )
            do = f"Look for {outlier.may_be}; exclude the run if that is found"
            found.append(Notice(Severity.WARNING, where, what, do))
    points = [outlier for outlier in outliers if outlier.kind == POINT]
    for run in dict.fromkeys(outlier.run for outlier in points):
        own = [outlier for outlier in points if outlier.run == run]
        found += [
            _points_notice([outlier for outlier in own if outlier.may_be == words], where)
            for words in dict.fromkeys(outlier.may_be for outlier in own)
        ]
    if trouble:
        found.append(Notice(Severity.WARNING, where, trouble, "Look at the residuals"))
    return tuple(found)


def _points_notice(own: Sequence[Outlier], where: str) -> Notice:
    deviations = [100 * outlier.deviation for outlier in own]
    weights = [outlier.weight for outlier in own]
    if len(own) == 1:
        what = (
            f"point {own[0].name} lies {deviations[0]:+.2g} % off the law; "
            f"it counts {weights[0]:.2g} of a point"
        )
    else:
        what = (
            f"{len(own)} points of run {own[0].run} lie {min(deviations):+.2g} to "
            f"{max(deviations):+.2g} % off the law; each counts {max(weights):.2g} of a point "
            "or less"
        )
    return Notice(Severity.WARNING, where, what, f"Look for {own[0].may_be}")
