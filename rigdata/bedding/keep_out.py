"""Which friction points are those of packs that are not yet bedded in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigdata.arrays import BoolArray
from rigdata.bedding.courses import NOT_BEDDED
from rigdata.bedding.results import Bedding
from rigdata.errors import Notice, Severity
from rigdata.reduction.points import FrictionPoints


def restored(points: FrictionPoints) -> FrictionPoints:
    """Return the points as they were before any was kept out as not yet bedded in.

    Where the sliding work is not known, whoever made the points must have said so.
    """
    out = (points.reason == NOT_BEDDED) & np.isfinite(points.pack_work_kj)
    return replace(points, used=points.used | out, reason=np.where(out, "", points.reason))


def without_bedding(points: FrictionPoints, bedding: Bedding) -> FrictionPoints:
    """Return the points with those from before their pack was steady kept out of fits.

    Breakaways among them.  A group of which nothing would be left, as none of its packs
    is steady by the end of the tests, keeps all its points.
    """
    points = restored(points)
    early = before_steady(points, bedding)
    for group in {one.group for one in bedding.packs}:
        mine = (points.material == group.material) & (points.state == group.state)
        kinetic = mine & (points.kind == "kinetic") & points.used
        if not np.any(kinetic & ~early):
            early &= ~mine
    return points.not_used(early, NOT_BEDDED)


def before_steady(points: FrictionPoints, bedding: Bedding) -> BoolArray:
    """Return which used points were taken before their pack was steady, (n,)."""
    early = np.zeros(len(points), np.bool_)
    for one in bedding.packs:
        early |= (points.pack == one.pack) & (points.pack_work_kj < one.kept_out_to_kj)
    found: BoolArray = early & points.used
    return found


def bedding_notices(points: FrictionPoints, bedding: Bedding) -> tuple[Notice, ...]:
    """Return what the user must know of the points from before their pack was steady.

    Parameters
    ----------
    points : FrictionPoints
        As fits use them.
    bedding : Bedding
    """
    within = f"from before mu was steady within {100.0 * bedding.steady:g} %"
    told = (
        (points.reason == NOT_BEDDED, "kept out of the fits", "Bed packs longer before the tests"),
        (
            before_steady(points, bedding),
            "used all the same",
            "Bed packs longer before the tests; 'rigdata fit' keeps such points out where "
            "others are left and --keep-bedding is not given",
        ),
    )
    found = list(bedding.notices)
    for group in dict.fromkeys(one.group for one in bedding.packs):
        mine = (points.material == group.material) & (points.state == group.state)
        for chosen, what, do in told:
            packs = set(points.pack[chosen & mine].tolist())
            if packs:
                points_of = f"points of {', '.join(sorted(packs))} {within} are {what}"
                number = int(np.sum(chosen & mine))
                found.append(Notice(Severity.WARNING, str(group), f"{number} {points_of}", do))
    return tuple(found)
