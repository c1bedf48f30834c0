"""The static (breakaway) coefficient of every group."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigdata.campaign.campaign import Reference
from rigdata.errors import FitError, Notice, Severity
from rigdata.friction.fit import LEAST_POINTS, fit_group, split
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints


def fit_static(
    points: FrictionPoints, reference: Reference
) -> tuple[dict[Group, FrictionFit], tuple[Notice, ...]]:
    """Return the mean static coefficient of every group with breakaway points.

    Parameters
    ----------
    points : FrictionPoints
        Of a whole campaign; used points of kind ``static`` are taken.
    reference : Reference
        Kept with the fit; the mean is over all conditions tested.

    Returns
    -------
    dict of Group to FrictionFit, tuple of Notice
        The constant law with the same scatter and intervals as for kinetic
        friction; a notice for every group left out, and for the dwell times and
        conditions over which the mean was taken.
    """
    fits: dict[Group, FrictionFit] = {}
    notices: list[Notice] = []
    for group, own in split(points, "static").items():
        where = f"{group}, static"
        if len(own) < LEAST_POINTS:
            notices.append(
                Notice(
                    Severity.LEFT_OUT,
                    where,
                    f"{len(own)} breakaway points; {LEAST_POINTS} are needed for a mean",
                    "Test more breakaways",
                )
            )
            continue
        try:
            fit = fit_group(own, group, reference, laws=["constant"])
        except FitError as error:
            notices.append(Notice(Severity.LEFT_OUT, where, error.what, error.do))
            continue
        told = tuple(replace(notice, where=where) for notice in fit.notices)
        fits[group] = replace(fit, notices=(_conditions_notice(own, where), *told))
        notices += fits[group].notices
    return fits, tuple(notices)


def _conditions_notice(points: FrictionPoints, where: str) -> Notice:
    """Say over which conditions the mean was taken."""
    dwell = points.dwell_s[np.isfinite(points.dwell_s)]
    parts = [
        f"{points.temperature_c.min():.3g} to {points.temperature_c.max():.3g} degC",
        f"{points.pressure_mpa.min():.3g} to {points.pressure_mpa.max():.3g} MPa",
    ]
    if dwell.size:
        parts.append(f"dwell {dwell.min():.3g} to {dwell.max():.3g} s")
    return Notice(
        Severity.NOTE, where, f"mean of {len(points)} breakaways over " + ", ".join(parts)
    )
