"""The law of a group: a formula, or a surface where every formula misses the points.

The surface is tried only when the best formula departs from its points by more than
chance, and taken only when it also predicts packs left out better than that formula, by
more than one standard error: it says nothing of why, and nothing outside the tests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.campaign.campaign import Oil, Reference
from rigdata.errors import FitError
from rigdata.friction.adequacy import Adequacy, adequacy_of
from rigdata.friction.allowances import Outlier
from rigdata.friction.candidates import Candidate, candidate, left_out
from rigdata.friction.design import conditions_of
from rigdata.friction.laws.base import Law
from rigdata.friction.laws.knots import knots_of
from rigdata.friction.laws.registry import STATIC_LAWS, SURFACE, law, laws_for
from rigdata.friction.results import LawScore
from rigdata.friction.robust import rank_robustly
from rigdata.friction.selection import LEAST_LOSS_U, Ranking, rank, ranked, with_losses
from rigdata.reduction.points import FrictionPoints

_NOT_NEEDED = LawScore(
    law=SURFACE,
    n_parameters=0,
    aicc=None,
    left_out=None,
    left_out_loss=None,
    left_out_loss_u=None,
    identified=True,
    chosen=False,
    remark="not needed",
)


@dataclass(frozen=True, eq=False)
class Choice:
    """The law of a group and what led to it.

    Attributes
    ----------
    ranking : Ranking
        All laws tried, with outliers counted less.
    adequacy : Adequacy or None
        Whether the best formula misses the points by more than chance.
    outliers : tuple of Outlier
        Points and runs that count less.
    trouble : str
        Why the search for outliers came to no good end; empty when it did.
    """

    ranking: Ranking
    adequacy: Adequacy | None
    outliers: tuple[Outlier, ...]
    trouble: str


def choose_law(
    label: str,
    points: FrictionPoints,
    reference: Reference,
    names: Sequence[str] | None,
    oil: Oil | None,
) -> Choice:
    """Return the laws tried on one group with one of them chosen, and the test of the best formula.

    Parameters
    ----------
    label : str
        Name of the group, for messages.
    points : FrictionPoints
        The points to fit, all of one kind.
    reference : Reference
        Condition that parameters refer to.
    names : sequence of str or None
        Laws to choose from; all by default.
    oil : Oil or None
        Oil that the packs ran in.

    Raises
    ------
    FitError
        When a law is unknown, is for the other kind or lacks its oil, or none could be fitted.
    """
    kind = str(points.kind[0])
    offered = STATIC_LAWS if kind == "static" else laws_for(oil)
    formulas = [_formula(name, kind, offered, oil) for name in names or offered if name != SURFACE]
    if not formulas:
        alone = rank(label, points, [_surface(points)], reference)
        return Choice(alone, None, (), "")
    found = rank_robustly(label, points, formulas, reference)
    ranking, best = found.ranking, found.ranking.chosen
    adequacy = None if best.fit is None else adequacy_of(best.fit)
    if kind == "kinetic" and (not names or SURFACE in names):
        ranking = _with_surface(ranking, adequacy, label, found.points, reference)
    return Choice(ranking, adequacy, found.outliers, found.trouble)


def _formula(name: str, kind: str, offered: Mapping[str, Law], oil: Oil | None) -> Law:
    found = law(name, oil)
    if name not in offered:
        raise FitError(
            f"the {name} law is not for {kind} points", expected="one of " + ", ".join(offered)
        )
    return found


def _surface(points: FrictionPoints) -> Law:
    return law(SURFACE, knots=knots_of(conditions_of(points)))


def _with_surface(
    formulas: Ranking,
    adequacy: Adequacy | None,
    label: str,
    points: FrictionPoints,
    reference: Reference,
) -> Ranking:
    """Return formulas ranked together with a surface, if there is need of one."""
    best, end = formulas.chosen, len(formulas.candidates)
    if adequacy is None or not adequacy.flagged:
        tried = Candidate(_surface(points), None, (), _NOT_NEEDED, np.zeros(0))
        reason = f"not needed: the {best.law.name} law follows the points"
        return ranked([*formulas.candidates, tried], formulas.place, {end: reason})
    tried = candidate(label, points, _surface(points), reference)
    found = [*formulas.candidates, tried]
    if tried.fit is None or not tried.score.identified:
        return ranked(found, formulas.place, {})
    found = with_losses(found, [i for i, c in enumerate(found) if c.fit and c.usable])
    unit = left_out(points)[0]
    if not _clearly_better(tried, best):
        return ranked(found, formulas.place, {end: f"predicts {unit} left out no better"})
    reasons = {
        formulas.place: "the best formula, but it misses the points",
        end: "taken: every formula misses the points",
    }
    return ranked(found, end, reasons)


def _clearly_better(one: Candidate, other: Candidate) -> bool:
    """Whether one law predicts what is left out better, by more than one standard error."""
    gain = one.left_out - other.left_out
    gain = gain[np.isfinite(gain)]
    if gain.size < 2:
        return False
    u = float(np.std(gain, ddof=1) * np.sqrt(gain.size))
    return bool(np.sum(gain) > max(u, LEAST_LOSS_U))
