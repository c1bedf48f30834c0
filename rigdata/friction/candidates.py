"""The laws as fitted to one group: what is held of each, and whether the data determine the rest.

A law is determined when every parameter that it cannot do without has two limits (see
`profiles`).  One that leaves a side open may still be all that follows the points; it is
tenable while each such parameter is at least known near its fitted value.
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
from rigdata.friction.profile_words import sides
from rigdata.friction.profiles import ParameterProfile, profiles_of
from rigdata.friction.results import LawScore
from rigdata.reduction.points import FrictionPoints

AICC_MARGIN = 2.0  # within which a law is as good
SET_ASIDE = "set aside: "

_CLOSELY, _LOOSELY = 0.1, 0.5  # standard uncertainty relative to the parameter
_MOST_INFLATION = 1e6  # of a parameter's variance by its correlation with the others
_SPARE_POINTS = 2
_SAME = 1e-7  # of a coefficient
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
    tenable : bool
        Whether it is not determined, but follows the points with parameters that are
        known near their fitted values.
    profiles : tuple of ParameterProfile
        Of the fitted parameters that might have no limit, and of those held because
        the data did not determine them when they were free.
    """

    law: Law
    fit: JointFit | None
    held: tuple[str, ...]
    score: LawScore
    left_out: FloatArray
    tenable: bool = False
    profiles: tuple[ParameterProfile, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether the law may be taken while others are there."""
        return self.score.identified or self.tenable


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

    def without(count: int) -> Candidate:
        return _tried(
            label, points, law, {**held, **{n: neutral[n] for n in simpler[:count]}}, reference
        )

    if not simpler:
        return without(0)
    found = [without(1)]
    if found[0].usable:
        found.insert(0, without(0))
    for count in range(2, len(simpler) + 1):
        if any(one.score.identified for one in found):
            break
        found.append(without(count))
    return _richest(found)


def _richest(found: Sequence[Candidate]) -> Candidate:
    """Return the richest form of a law that is determined, or a tenable one that does better.

    What it holds and a richer form leaves open keeps the profile that shows it.
    """
    ordered = [c for c in found if c.score.identified] or [c for c in found if c.tenable]
    plain = ordered[0] if ordered else found[0]
    better = (c for c in found if c.tenable and _aicc(c) < _aicc(plain) - AICC_MARGIN)
    best = min(better, key=_aicc, default=plain)
    why = {p.name: p for one in found for p in one.profiles if p.undetermined}
    shown = [why[name] for name in best.held if name in why]
    return replace(best, profiles=(*best.profiles, *shown))


def _aicc(one: Candidate) -> float:
    return np.inf if one.score.aicc is None else one.score.aicc


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
    return _scored(law, fit, tuple(held), points)


def _profiles_in_doubt(fit: JointFit) -> tuple[ParameterProfile, ...]:
    """Return the profiles of parameters that may have no limit, as far as they are asked for.

    None where all that are needed are known closely, and only those known loosely where
    one of these settles that the law is out.
    """
    needed = _needed(fit)
    if not needed & _known_less(fit, _CLOSELY):
        return ()
    loose = needed & _known_less(fit, _LOOSELY)
    found = profiles_of(fit, loose)
    if any(profile.undetermined for profile in found):
        return found
    return (*found, *profiles_of(fit, needed - loose))


def _needed(fit: JointFit) -> set[str]:
    """Return the parameters that a law cannot do without.

    The others may be 0, and are found to be so where the data show nothing of them.
    """
    return {p.name for p in fit.design.blocks[0].law.parameters if p.neutral != 0.0}


def _known_less(fit: JointFit, share: float) -> set[str]:
    """Return the fitted parameters whose standard uncertainty is a larger share, or on a bound."""
    theta, spread = fit.estimate.theta, np.sqrt(np.diag(fit.estimate.covariance))
    names = fit.design.blocks[0].law.names
    less = {n for n, x, u in zip(names, theta, spread, strict=True) if u > share * abs(x)}
    return less | {*fit.on_bound}


def _confounded(fit: JointFit) -> list[str]:
    """Return the fitted parameters of a single block that the others can stand in for."""
    covariance = fit.estimate.covariance
    free = np.flatnonzero(np.diag(covariance) > 0.0)
    inner = covariance[np.ix_(free, free)]
    scale = np.sqrt(np.diag(inner))
    inflation = np.diag(np.linalg.pinv(inner / np.outer(scale, scale), hermitian=True))
    names = fit.design.blocks[0].law.names
    return [names[i] for i, factor in zip(free, inflation, strict=True) if factor > _MOST_INFLATION]


def _scored(law: Law, fit: JointFit, held: tuple[str, ...], points: FrictionPoints) -> Candidate:
    """Return a law with its score; it is determined where no profile that it needs is open."""
    profiles = _profiles_in_doubt(fit)
    vague = {profile.name: sides(profile) for profile in profiles if profile.undetermined}
    confounded = [name for name in _confounded(fit) if name not in vague]
    lost = [*vague, *confounded]
    known = not _needed(fit) & _known_less(fit, _LOOSELY)
    tenable = bool(vague) and known and not confounded and not fit.taken_up
    n = len(points)
    n_parameters = round(fit.effective_parameters) + len(fit.on_bound)
    k = n_parameters + len(fit.design.unknown)
    spare = n - k - 1
    aicc = -2.0 * fit.likelihood + 2.0 * k + (2.0 * k * (k + 1) / spare if spare > 0 else np.inf)
    parts = list(vague.values())
    if confounded:
        parts.append(f"the data do not determine {', '.join(confounded)}")
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
        reason=SET_ASIDE + reason if reason else "",
    )
    sets = members_of(left_out(points)[1])
    outer = leave_out_scores(fit.profile, sets)
    return Candidate(law, fit, held, score, outer, tenable, profiles)


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
        reason=SET_ASIDE + remark,
    )
    return Candidate(law, None, (), score, np.zeros(0))
