"""The choice between each group's own scatter and that of all groups together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from rigdata.errors import FitError, Notice, Severity
from rigdata.friction.case_deletion import deletions_of
from rigdata.friction.checks import chi_squares, pull_notices, residual_trend
from rigdata.friction.conditions import at
from rigdata.friction.driving import driving_notices, judged
from rigdata.friction.joint import JointFit, joint_fit
from rigdata.friction.pooling import Pooling, Quoted, alike, pool
from rigdata.friction.profiles import profiles_of
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.scatter_limits import scatter_of
from rigdata.reduction.points import FrictionPoints

_NOTHING = "scatter not pooled: no other group was tested in packs and runs as this one was"


def choose_scatter(
    fits: Mapping[Group, FrictionFit],
    points: Mapping[Group, FrictionPoints],
    *,
    pool_scatter: bool = False,
) -> dict[Group, FrictionFit]:
    """Return the fits of a campaign with what pooling their scatter would do, or has done.

    Parameters
    ----------
    fits : mapping of Group to FrictionFit
        Each with its own scatter.
    points : mapping of Group to FrictionPoints
        What they were fitted to.
    pool_scatter : bool
        Whether the kinds of scatter that no test speaks against are taken from all
        groups together; else every fit stays as it is.

    Returns
    -------
    dict of Group to FrictionFit
        In the same order, each with its `pooling` where there was a group to pool with.
    """
    groups = list(fits)
    members = [groups[i] for i in alike([fit.estimate for fit in fits.values()])]
    chosen = dict(fits)
    if len(members) > 1:
        blocks = [fits[group].block(points[group]) for group in members]
        estimates = [fits[group].estimate for group in members]
        tests, common = pool(blocks, estimates, fits[members[0]].reference)
        for group in members:
            found = Pooling(tests, common, False, quoted(fits[group]))
            chosen[group] = _pooled(fits[group], points[group], found, use=pool_scatter)
    if pool_scatter:
        for group, fit in chosen.items():
            if fit.pooling is None:
                told = Notice(Severity.NOTE, str(group), _NOTHING)
                chosen[group] = replace(fit, notices=(*fit.notices, told))
    return chosen


def quoted(fit: FrictionFit) -> Quoted:
    """Return the intervals of a fit at its reference condition."""
    told = fit.predict(at(fit.reference))
    names = Quoted.__dataclass_fields__
    return Quoted(**{name: float(getattr(told, name)[0]) for name in names})


def _pooled(
    fit: FrictionFit, points: FrictionPoints, pooling: Pooling, *, use: bool
) -> FrictionFit:
    """Return a fit with its `pooling`, and where that is used with the common scatter."""
    told = [Notice(Severity.NOTE, str(fit.group), words) for words in pooling.kept_words]
    if use and told:
        fit = replace(fit, notices=(*fit.notices, *told))
    if not pooling.common:
        return replace(fit, pooling=pooling)
    block = replace(fit.block(points), common=pooling.common)
    try:
        joint = joint_fit([block], fit.reference, [fit.theta])
    except FitError as error:
        told = [Notice(Severity.NOTE, str(fit.group), f"scatter not pooled: {error.what}")]
        notices = (*fit.notices, *told) if use else fit.notices
        return replace(fit, pooling=replace(pooling, common=()), notices=notices)
    other = _refitted(fit, points, joint)
    pooling = replace(pooling, pooled=quoted(other), used=use)
    if not use:
        return replace(fit, pooling=pooling)
    told = [Notice(Severity.NOTE, str(fit.group), pooling.used_words)]
    kept = (p for p in fit.profiles if p.law != fit.law or p.name in fit.not_identified)
    profiles = (*profiles_of(joint), *kept)
    return replace(other, pooling=pooling, profiles=profiles, notices=(*other.notices, *told))


def _refitted(fit: FrictionFit, points: FrictionPoints, joint: JointFit) -> FrictionFit:
    """Return what follows from another fit of the same law to the same points."""
    conditions = joint.design.blocks[0].conditions
    pulls, trend = joint.pulls(), residual_trend(joint, conditions)
    chi2, chi2_measurement = chi_squares(joint)
    deletions, where = judged(joint, deletions_of(joint)), str(fit.group)
    before = (*pull_notices(where, fit.pulls), *driving_notices(fit.deletions, where))
    now = (*pull_notices(where, pulls), *driving_notices(deletions, where))
    return replace(
        fit,
        estimate=joint.estimate,
        scatter=scatter_of(joint),
        chi2_reduced=chi2,
        chi2_measurement=chi2_measurement,
        pulls=pulls,
        residual_trend=trend,
        residual=points.mu / joint.curve - 1.0,
        deletions=deletions,
        notices=(*(notice for notice in fit.notices if notice not in before), *now),
    )
