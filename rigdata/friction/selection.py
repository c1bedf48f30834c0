"""The choice of the law: what the data determine, and how well it predicts packs left out.

The simplest law wins that Akaike's corrected criterion puts within 2 units of
the best, or within 7 units (there is still some support; Burnham and Anderson,
Model Selection and Multimodel Inference, 2.6) when it predicts packs left out
as well as the best, within one standard error.  A law that predicts them
clearly worse is not taken whatever the criterion says; where no law is left,
the best predictor is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import FloatArray, TextArray
from rigdata.campaign.campaign import Reference
from rigdata.errors import FitError
from rigdata.friction.conditions import shown_axes
from rigdata.friction.design import Block, conditions_of
from rigdata.friction.joint import JointFit, joint_fit
from rigdata.friction.laws.base import Law
from rigdata.friction.leave_out import leave_out_scores
from rigdata.friction.nesting import members_of, numbered
from rigdata.friction.results import LawScore
from rigdata.reduction.points import FrictionPoints

AICC_MARGIN, AICC_REACH = 2.0, 7.0
CLEARLY = 3.0  # standard errors by which a law predicts clearly worse
LEAST_LOSS_U = 1.0  # log density: with three packs the standard error itself is uncertain
_MOST_RELATIVE_U = 0.5  # of a parameter without which the law has no meaning
_MOST_INFLATION = 1e6  # of a parameter's variance by its correlation with the others
_SPARE_POINTS = 2
_SAME = 1e-7  # of a coefficient
_SET_ASIDE = "set aside: "
_FOLLOWS = "its terms follow every run"


@dataclass(frozen=True, eq=False)
class Candidate:
    """One law as fitted to a group, or why it could not be.

    Attributes
    ----------
    law : Law
    fit : JointFit or None
    held : tuple of str
        Parameters held at their neutral values.
    score : LawScore
    left_out : (q,) array
        Log density of each pack or run left out.
    """

    law: Law
    fit: JointFit | None
    held: tuple[str, ...]
    score: LawScore
    left_out: FloatArray


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


def candidates(
    label: str, points: FrictionPoints, laws: Sequence[Law], reference: Reference
) -> list[Candidate]:
    """Fit every law; those that cannot be fitted, or come out as one before them, say why."""
    found: list[Candidate] = []
    for law in laws:
        new = candidate(label, points, law, reference)
        twin = next((old for old in found if _is_same(new, old)), None)
        if twin is not None:
            same = _failed(law, f"here the same as the {twin.law.name} law")
            new = replace(same, score=replace(same.score, remark=new.score.remark))
        found.append(new)
    return found


def _is_same(one: Candidate, other: Candidate) -> bool:
    """Whether two laws come out as one, with what the tests cannot show held."""
    if one.fit is None or other.fit is None or not one.held:
        return False
    alike = one.score.n_parameters == other.score.n_parameters
    return alike and np.allclose(one.fit.curve, other.fit.curve, rtol=_SAME, atol=0.0)


def choose(label: str, points: FrictionPoints, found: list[Candidate]) -> Ranking:
    """Return candidates with one of them chosen.

    Raises
    ------
    FitError
        When no law could be fitted.
    """
    usable = [i for i, c in enumerate(found) if c.fit is not None and c.score.identified]
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
        return f"taken, though {score.reason.removeprefix(_SET_ASIDE)}"
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


def candidate(label: str, points: FrictionPoints, law: Law, reference: Reference) -> Candidate:
    """Return one law as fitted to a group, with what the tests cannot show held."""
    conditions = conditions_of(points)
    shown, lost = shown_axes(conditions), law.undetermined(conditions)
    hidden = [p for p in law.parameters if not shown.issuperset(p.axes) or p.name in lost]
    if any(p.neutral is None for p in hidden):
        return _failed(law, "the slip speed was varied too little for this law")
    neutral = {p.name: p.neutral for p in law.parameters if p.neutral is not None}
    held = {p.name: neutral[p.name] for p in hidden}
    simpler = [name for name in law.simpler if name not in held]
    found = _tried(label, points, law, {**held, **{n: neutral[n] for n in simpler[:1]}}, reference)
    if not simpler:
        return found
    if found.score.identified:
        richer = _tried(label, points, law, held, reference)
        return richer if richer.score.identified else found
    for count in range(2, len(simpler) + 1):
        fewer = {**held, **{n: neutral[n] for n in simpler[:count]}}
        barer = _tried(label, points, law, fewer, reference)
        if barer.score.identified:
            return barer
    return found


def _tried(
    label: str, points: FrictionPoints, law: Law, held: Mapping[str, float], reference: Reference
) -> Candidate:
    """Fit one law with some parameters held."""
    block = Block(label, points, law, held)
    if len(points) < block.n_parameters + _SPARE_POINTS:
        return _failed(law, f"{len(points)} points are too few for this law")
    try:
        fit = joint_fit([block], reference)
    except FitError as error:
        return _failed(law, error.what)
    return _scored(law, fit, tuple(held), not_determined(fit), points)


def not_determined(fit: JointFit) -> tuple[str, ...]:
    """Return the fitted parameters of a single block that the data do not determine.

    A parameter on a bound; one that the law cannot do without whose standard
    uncertainty is over half its value; one that the others can stand in for.
    """
    law = fit.design.blocks[0].law
    lost = list(fit.on_bound)
    covariance = fit.estimate.covariance
    free = np.flatnonzero(np.diag(covariance) > 0.0)
    inner = covariance[np.ix_(free, free)]
    scale = np.sqrt(np.diag(inner))
    inflation = np.diag(np.linalg.pinv(inner / np.outer(scale, scale), hermitian=True))
    for i, u, factor in zip(free, scale, inflation, strict=True):
        parameter = law.parameters[i]
        needed = parameter.neutral is None or parameter.neutral != 0.0
        vague = needed and u > _MOST_RELATIVE_U * abs(fit.estimate.theta[i])
        if vague or factor > _MOST_INFLATION:
            lost.append(parameter.name)
    return tuple(dict.fromkeys(lost))


def _scored(
    law: Law, fit: JointFit, held: tuple[str, ...], lost: tuple[str, ...], points: FrictionPoints
) -> Candidate:
    n = len(points)
    n_parameters = round(fit.effective_parameters) + len(fit.on_bound)
    k = n_parameters + len(fit.design.unknown)
    spare = n - k - 1
    aicc = -2.0 * fit.likelihood + 2.0 * k + (2.0 * k * (k + 1) / spare if spare > 0 else np.inf)
    parts = []
    if lost:
        parts.append(f"the data do not determine {', '.join(lost)}")
    if fit.taken_up:
        parts.append(_FOLLOWS)
    if held:
        parts.append(f"{', '.join(held)} held")
    reason = f"{', '.join(lost)} not determined" if lost else _FOLLOWS if fit.taken_up else ""
    score = LawScore(
        law=law.name,
        n_parameters=n_parameters,
        aicc=float(aicc) if np.isfinite(aicc) else None,
        left_out=None,
        left_out_loss=None,
        left_out_loss_u=None,
        identified=not lost and not fit.taken_up,
        chosen=False,
        remark="; ".join(parts),
        reason=_SET_ASIDE + reason if reason else "",
    )
    sets = members_of(left_out(points)[1])
    return Candidate(law, fit, held, score, leave_out_scores(fit.profile, sets))


def left_out(points: FrictionPoints) -> tuple[str, TextArray]:
    """Return what is left out in turn, packs or runs, and that of each point."""
    several = numbered(points.pack)[1] > 2
    return ("packs", points.pack) if several else ("runs", points.run)


def _failed(law: Law, remark: str) -> Candidate:
    score = LawScore(
        law=law.name,
        n_parameters=len(law.parameters),
        aicc=None,
        left_out=None,
        left_out_loss=None,
        left_out_loss_u=None,
        identified=False,
        chosen=False,
        remark=remark,
        reason=_SET_ASIDE + remark,
    )
    return Candidate(law, None, (), score, np.zeros(0))
