"""From the friction points of a campaign to one fitted law for every group."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rigdata.campaign.campaign import Oil, Reference
from rigdata.errors import FitError, Notice, Severity
from rigdata.friction.candidates import Candidate
from rigdata.friction.case_deletion import deletions_of
from rigdata.friction.checks import chi_squares, notices_of, residual_trend
from rigdata.friction.choice import choose_law
from rigdata.friction.design import conditions_of
from rigdata.friction.diagnostics.diagnose import diagnose, diagnostic_notices
from rigdata.friction.driving import driving_notices, judged
from rigdata.friction.envelope import envelope_of
from rigdata.friction.joint import JointFit
from rigdata.friction.laws.knots import knots_of
from rigdata.friction.laws.registry import SURFACE
from rigdata.friction.nesting import numbered
from rigdata.friction.pooled_fits import choose_scatter
from rigdata.friction.profiles import ParameterProfile, profiles_of
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.robust import outlier_notices
from rigdata.friction.scatter_limits import scatter_of
from rigdata.reduction.points import FrictionPoints

LEAST_POINTS = 3


def fit_campaign(
    points: FrictionPoints,
    reference: Reference,
    *,
    laws: Sequence[str] | None = None,
    oil: Oil | None = None,
    pool_scatter: bool = False,
) -> dict[Group, FrictionFit]:
    """Fit the kinetic points of every group that has enough of them.

    Parameters
    ----------
    points : FrictionPoints
        Of a whole campaign; those marked as not used are left aside.
    reference : Reference
        Condition that the parameters refer to.
    laws : sequence of str, optional
        Names of the laws to choose from, ``surface`` where it may be the last resort;
        all by default.
    oil : Oil, optional
        Oil that the packs ran in, for the laws that need its viscosity.
    pool_scatter : bool
        Take the scatter between packs, runs and points from all groups together
        where no test speaks against it; see `pooling`.

    Returns
    -------
    dict of Group to FrictionFit
        Groups in order of appearance, less those of `groups_left_out`.

    Raises
    ------
    FitError
        When a law is unknown or lacks its oil, a point has no uncertainty or is not above 0, or
        no group has enough points.
    """
    groups = split(points, "kinetic")
    enough = {g: own for g, own in groups.items() if len(own) >= LEAST_POINTS}
    if not enough:
        raise FitError(
            "no group has enough kinetic points to fit",
            expected=f"at least {LEAST_POINTS} used points of one material and state",
            do="See the runs and points left out, and why",
        )
    fits = {g: fit_group(own, g, reference, laws=laws, oil=oil) for g, own in enough.items()}
    return choose_scatter(fits, enough, pool_scatter=pool_scatter)


def groups_left_out(points: FrictionPoints) -> tuple[Notice, ...]:
    """Return a notice for every group that `fit_campaign` leaves out, and why."""
    named = dict.fromkeys(zip(points.material.tolist(), points.state.tolist(), strict=True))
    counts = {group: len(own) for group, own in split(points, "kinetic").items()}
    return tuple(
        Notice(
            Severity.LEFT_OUT,
            str(group),
            f"{counts.get(group, 0)} used kinetic points; {LEAST_POINTS} are needed for a fit",
            "See the runs and points left out, and why",
        )
        for group in (Group(material, state) for material, state in named)
        if counts.get(group, 0) < LEAST_POINTS
    )


def split(points: FrictionPoints, kind: str) -> dict[Group, FrictionPoints]:
    """Return the used points of `kind` of every group, groups in order of appearance."""
    wanted = points.used & (points.kind == kind)
    pairs = zip(points.material[wanted].tolist(), points.state[wanted].tolist(), strict=True)
    return {
        Group(material, state): points.select(
            wanted & (points.material == material) & (points.state == state)
        )
        for material, state in dict.fromkeys(pairs)
    }


def fit_group(
    points: FrictionPoints,
    group: Group,
    reference: Reference,
    *,
    laws: Sequence[str] | None = None,
    oil: Oil | None = None,
) -> FrictionFit:
    """Fit the used `points` of one group and one kind, and choose the law.

    Raises
    ------
    FitError
        When a law is unknown, is for the other kind or lacks its oil, or no law could be fitted.
    """
    choice = choose_law(str(group), points, reference, laws, oil)
    ranking, adequacy, chosen = choice.ranking, choice.adequacy, choice.ranking.chosen
    assert chosen.fit is not None
    fit = chosen.fit
    conditions = conditions_of(points)
    pulls, trend = fit.pulls(), residual_trend(fit, conditions)
    scatter = scatter_of(fit)
    profiles = {c.law.name: _profiles(c) for c in ranking.candidates if _told_of(c)}
    (_, n_packs), (_, n_runs) = numbered(points.pack), numbered(points.run)
    chi2, chi2_measurement = chi_squares(fit)
    deletions = judged(fit, deletions_of(fit))
    found = FrictionFit(
        group=group,
        law=chosen.law.name,
        reference=reference,
        estimate=fit.estimate,
        not_identified=chosen.held,
        scatter=scatter,
        envelope=envelope_of(conditions),
        n_points=len(points),
        n_packs=n_packs,
        n_runs=n_runs,
        chi2_reduced=chi2,
        chi2_measurement=chi2_measurement,
        pulls=pulls,
        residual_trend=trend,
        ranking=ranking.scores,
        point=points.point,
        residual=points.mu / fit.curve - 1.0,
        notices=(
            *notices_of(
                ranking,
                str(group),
                conditions,
                n_packs,
                pulls,
                adequacy,
                profiles[chosen.law.name],
            ),
            *outlier_notices(choice.outliers, choice.trouble, str(group)),
            *driving_notices(deletions, str(group)),
        ),
        oil=oil,
        knots=knots_of(conditions) if chosen.law.name == SURFACE else None,
        adequacy=adequacy,
        outliers=choice.outliers,
        deletions=deletions,
        profiles=tuple(itertools.chain.from_iterable(profiles.values())),
    )
    return _diagnosed(found, fit, points) if np.all(points.kind == "kinetic") else found


def _told_of(candidate: Candidate) -> bool:
    """Whether the profiles of a law are kept: it is taken, or set aside for what they show."""
    fitted = [p for p in candidate.profiles if p.name not in candidate.held]
    aside = not candidate.usable and any(profile.undetermined for profile in fitted)
    return candidate.score.chosen or aside


def _profiles(candidate: Candidate) -> tuple[ParameterProfile, ...]:
    """Return the profiles of every parameter of a law, in its order."""
    if candidate.fit is None:
        return ()
    names = candidate.law.names
    known = {profile.name for profile in candidate.profiles}
    rest = profiles_of(candidate.fit, set(names) - known)
    return tuple(sorted((*candidate.profiles, *rest), key=lambda each: names.index(each.name)))


def _diagnosed(fit: FrictionFit, joint: JointFit, points: FrictionPoints) -> FrictionFit:
    diagnostics = diagnose(fit, joint, points)
    told = diagnostic_notices(diagnostics, str(fit.group))
    return replace(fit, diagnostics=diagnostics, notices=(*fit.notices, *told))
