"""The static (breakaway) coefficient of every group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rigdata.campaign.campaign import Reference
from rigdata.errors import FitError, Notice, Severity
from rigdata.friction.conditions import DWELL, LEAST_DWELL_RATIO, shown_axes
from rigdata.friction.design import conditions_of
from rigdata.friction.fit import LEAST_POINTS, fit_group, split
from rigdata.friction.laws.registry import STATIC_LAWS
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.slopes import follows
from rigdata.reduction.points import FrictionPoints

_NO_DWELL_S = 1.0  # where no dwell is known, so that no law follows it


def fit_static(
    points: FrictionPoints, reference: Reference, *, laws: Sequence[str] | None = None
) -> tuple[dict[Group, FrictionFit], tuple[Notice, ...]]:
    """Fit the static points of every group that has enough of them.

    Parameters
    ----------
    points : FrictionPoints
        Of a whole campaign; used points of kind ``static`` are taken.
    reference : Reference
        Condition that the parameters refer to.  Where it names no dwell, single
        numbers are quoted after the median one tested.
    laws : sequence of str, optional
        Names of the static laws to choose from; all by default.

    Returns
    -------
    dict of Group to FrictionFit, tuple of Notice
        Fits with the same choice of the law, scatter and intervals as for kinetic
        friction; a notice for every group left out, for what the chosen law
        does not follow, and for the dwell at which numbers are quoted.
    """
    place = static_reference(points, reference)
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
            names = _laws_that_can_follow(own, laws or tuple(STATIC_LAWS))
            fit = fit_group(own, group, place, laws=names)
        except FitError as error:
            notices.append(Notice(Severity.LEFT_OUT, where, error.what, error.do))
            continue
        told = tuple(replace(notice, where=where) for notice in fit.notices)
        fits[group] = replace(fit, notices=(*_mean_notices(fit, own, where), *told))
        notices += fits[group].notices
    if reference.dwell_s is None and any(follows(fit, DWELL) for fit in fits.values()):
        notices.append(
            Notice(
                Severity.NOTE,
                "static coefficients",
                f"quoted after {place.dwell_s:g} s at rest, the median dwell tested",
                "Give dwell_s in [reference] to quote them after another",
            )
        )
    return fits, tuple(notices)


def static_reference(points: FrictionPoints, reference: Reference) -> Reference:
    """Return the condition at which static coefficients are quoted: at rest, after a dwell.

    The dwell is that of `reference`, or else the median of all used breakaways to
    two digits, so that it lies where they were tested and is one for all groups.
    """
    dwell = reference.dwell_s
    if dwell is None:
        known = points.dwell_s[points.used & (points.kind == "static")]
        known = known[np.isfinite(known)]
        dwell = float(f"{np.median(known):.2g}") if known.size else _NO_DWELL_S
    return replace(reference, slip_speed_m_s=0.0, dwell_s=dwell)


def _laws_that_can_follow(points: FrictionPoints, laws: Sequence[str]) -> list[str]:
    """Leave out the laws over dwell where the dwell of some points is not known."""
    if np.all(points.dwell_s > 0.0):
        return list(laws)
    over_dwell = {
        n for n, law in STATIC_LAWS.items() if any(DWELL in p.axes for p in law.parameters)
    }
    able = [name for name in laws if name not in over_dwell]
    if not able:
        raise FitError(
            f"the {laws[0]} law needs the dwell of every breakaway", do="Give dwell_s in points.csv"
        )
    return able


def _mean_notices(fit: FrictionFit, points: FrictionPoints, where: str) -> list[Notice]:
    """Say over which conditions the mean was taken, where the law has no parameter for them."""
    named = {axis for parameter in fit.form.parameters for axis in parameter.axes}
    dwell = points.dwell_s[np.isfinite(points.dwell_s)]
    spans = {
        "temperature_c": (points.temperature_c, "{:.3g} to {:.3g} degC"),
        "pressure_mpa": (points.pressure_mpa, "{:.3g} to {:.3g} MPa"),
        DWELL: (dwell, "dwell {:.3g} to {:.3g} s"),
    }
    parts = [
        form.format(values.min(), values.max())
        for axis, (values, form) in spans.items()
        if axis not in named and values.size
    ]
    if not parts:
        return []
    missing, advice = len(points) - dwell.size, ""
    if missing:
        parts.append(f"dwell of {missing} not known")
        advice = "Give dwell_s of every breakaway in points.csv to see its effect"
    elif DWELL not in shown_axes(conditions_of(points)):
        advice = f"Test after dwells a factor of {LEAST_DWELL_RATIO:g} apart to see their effect"
    what = f"mean of {len(points)} breakaways over " + ", ".join(parts)
    return [Notice(Severity.NOTE, where, what, advice)]
