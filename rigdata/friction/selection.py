"""The choice of the law: what the data determine, and how well it predicts packs left out.

The simplest law wins that Akaike's corrected criterion puts within 2 units of
the best, or within 7 units (there is still some support; Burnham and Anderson,
Model Selection and Multimodel Inference, 2.6) when it predicts packs left out
as well as the best, within one standard error.  A law that predicts them
clearly worse is not taken whatever the criterion says; where no law is left,
the best predictor is.  A tenable law that leaves a parameter open takes part: a
simpler one that does as well wins anyway.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.campaign.campaign import Reference
from rigdata.errors import FitError
from rigdata.friction.candidates import (
    AICC_MARGIN,
    SET_ASIDE,
    Candidate,
    candidates,
    left_out,
)
from rigdata.friction.laws.base import Law
from rigdata.friction.results import LawScore
from rigdata.reduction.points import FrictionPoints

AICC_REACH = 7.0
CLEARLY = 3.0  # standard errors by which a law predicts clearly worse
LEAST_LOSS_U = 1.0  # log density: with three packs the standard error itself is uncertain


@dataclass(frozen=True, eq=False)
class Ranking:
    """All laws that were tried.

    Attributes
    ----------
    candidates : tuple of Candidate
        Their losses are against the best of them.
    place : int
        Which one is chosen.
    """

    candidates: tuple[Candidate, ...]
    place: int

    @property
    def chosen(self) -> Candidate:
        """The law to take."""
        return self.candidates[self.place]

    @property
    def scores(self) -> tuple[LawScore, ...]:
        """The score of every law."""
        return tuple(candidate.score for candidate in self.candidates)


def rank(label: str, points: FrictionPoints, laws: Sequence[Law], reference: Reference) -> Ranking:
    """Fit every law and choose one.

    Raises
    ------
    FitError
        When no law could be fitted.
    """
    return choose(label, points, candidates(label, points, laws, reference))


def choose(label: str, points: FrictionPoints, found: list[Candidate]) -> Ranking:
    """Return candidates with one of them chosen.

    Raises
    ------
    FitError
        When no law could be fitted.
    """
    usable = [i for i, c in enumerate(found) if c.usable]
    if not usable:
        usable = [i for i, c in enumerate(found) if c.fit is not None]
    if not usable:
        raise FitError(
            "no law could be fitted",
            where=label,
            expected="; ".join(f"{c.law.name}: {c.score.remark}" for c in found),
        )
    found = with_losses(found, usable)
    return ranked(found, *_choose(found, usable, left_out(points)[0]))


def ranked(found: Sequence[Candidate], chosen: int, reasons: Mapping[int, str]) -> Ranking:
    """Return candidates with one of them chosen, and why each is or is not."""

    def told(i: int, score: LawScore) -> LawScore:
        return replace(score, chosen=i == chosen, reason=reasons.get(i, score.reason))

    return Ranking(
        tuple(replace(one, score=told(i, one.score)) for i, one in enumerate(found)), chosen
    )


def _choose(
    found: Sequence[Candidate], usable: Sequence[int], unit: str
) -> tuple[int, dict[int, str]]:
    """Return the law to take, and why each usable one is taken or not."""
    lowest = min(found[i].score.aicc or 0.0 for i in usable)
    behind = {i: (found[i].score.aicc or 0.0) - lowest for i in usable}
    errors = {i: loss_in_errors(found[i].score) for i in usable}

    def supported(i: int) -> bool:
        close = behind[i] <= AICC_REACH and errors[i] <= 1.0
        return (behind[i] <= AICC_MARGIN or close) and errors[i] <= CLEARLY

    good = [i for i in usable if supported(i)]
    best = [i for i in usable if (found[i].score.left_out_loss or 0.0) <= 0.0]
    chosen = min(good or best, key=lambda i: (found[i].score.n_parameters, i))
    reasons = {}
    for i in usable:
        more = found[i].score.n_parameters - found[chosen].score.n_parameters
        if i == chosen:
            reasons[i] = _why_taken(found[i].score, len(usable), behind[i], errors[i], bool(good))
        elif i in good:
            reasons[i] = (
                f"as good, with {more} more parameters" if more else "as good, but no better"
            )
        elif errors[i] > CLEARLY or behind[i] <= AICC_REACH:
            size = f"{errors[i]:.{1 if errors[i] < 10.0 else 0}f}"
            reasons[i] = f"{size} s.e. worse on {unit} left out"
        else:
            reasons[i] = f"AICc {behind[i]:.0f} above the best"
    return chosen, reasons


def loss_in_errors(score: LawScore) -> float:
    """Return the loss on packs left out in its standard errors, 0 where there is none."""
    if score.left_out_loss is None or score.left_out_loss_u is None:
        return 0.0
    return score.left_out_loss / max(score.left_out_loss_u, LEAST_LOSS_U)


def _why_taken(score: LawScore, n_usable: int, behind: float, errors: float, good: bool) -> str:
    if not score.identified:
        return f"taken, though {score.reason.removeprefix(SET_ASIDE)}"
    if n_usable == 1:
        return "taken: the only one the points determine"
    if not good:
        return "taken: predicts best, none is good on all"
    if errors <= 1.0:
        return "taken: simplest within one standard error"
    return f"taken: simplest within {AICC_MARGIN:g} of the best AICc"


def with_losses(found: Sequence[Candidate], usable: Sequence[int]) -> list[Candidate]:
    """Return the candidates with their loss against the best predictor."""
    table = np.array([found[i].left_out for i in usable])
    known = np.all(np.isfinite(table), axis=0)
    if np.sum(known) < 2:
        return list(found)
    best = found[usable[int(np.argmax(table[:, known].sum(axis=1)))]].left_out[known]
    result = list(found)
    for i, candidate in enumerate(found):
        if candidate.fit is None:
            continue
        loss = best - candidate.left_out[known]
        if np.all(np.isfinite(loss)):
            u = float(np.std(loss, ddof=1) * np.sqrt(loss.size))
            score = replace(
                candidate.score,
                left_out=float(np.sum(candidate.left_out[known])),
                left_out_loss=float(np.sum(loss)),
                left_out_loss_u=u,
            )
            result[i] = replace(candidate, score=score)
    return result
