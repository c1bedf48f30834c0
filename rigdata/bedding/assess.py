"""When the packs of a campaign were bedded in, pack by pack and for one more pack."""

from __future__ import annotations

import numpy as np

from rigdata.bedding.courses import courses_of
from rigdata.bedding.group import SettledGroup, settle_group
from rigdata.bedding.results import (
    BEDDED,
    CANNOT_TELL,
    NOT_YET,
    STEADY,
    Bedding,
    PackBedding,
)
from rigdata.bedding.settling import LEAST_POINTS, Settling
from rigdata.bedding.time_to_bed import time_to_bed
from rigdata.campaign.campaign import Campaign, Pack
from rigdata.errors import Notice, Severity
from rigdata.friction.results import Group
from rigdata.reduction.geometry import pack_geometry
from rigdata.reduction.points import FrictionPoints

WITHIN = 0.01
RISK = 0.001  # of a change where there is none: a campaign asks for every pack
_UNSEEN = 3.0  # tolerances that a change at the start may have and not be seen
_LEAST_OFF = 2  # points before a pack is steady: a single one may be a bad start of a run


def assess_bedding(
    points: FrictionPoints, campaign: Campaign, *, within: float = WITHIN
) -> Bedding:
    """Return when each pack became steady, whatever its runs were called.

    Parameters
    ----------
    points : FrictionPoints
        All of them, bedding runs included.
    campaign : Campaign
        Size of the packs.
    within : float
        How near to the level that it settles to mu counts as steady, relative.
    """
    packs: list[PackBedding] = []
    groups = {}
    pairs = zip(points.material.tolist(), points.state.tolist(), strict=True)
    for group in (Group(*pair) for pair in dict.fromkeys(pairs)):
        mine = (points.material == group.material) & (points.state == group.state)
        courses = courses_of(points, group, LEAST_POINTS)
        settled = settle_group(courses) if courses is not None else None
        own = []
        for name in dict.fromkeys(points.pack[mine].tolist()):
            if settled is None or name not in settled.settlings:
                own.append(_unknown(points.select(points.pack == name), group))
            else:
                own.append(_judged(group, settled, campaign.packs[name], within))
        packs += own
        found = time_to_bed(group, own)
        if found is not None:
            groups[group] = found
    return Bedding(within, tuple(packs), groups, tuple(_notices(packs)))


def _unknown(own: FrictionPoints, group: Group) -> PackBedding:
    known = np.isfinite(own.pack_work_kj) & (own.kind == "kinetic")
    why = f"its sliding work is known at {int(known.sum())} points; {LEAST_POINTS} are needed"
    nothing = np.empty(0)
    return PackBedding(
        pack=str(own.pack[0]),
        group=group,
        verdict=CANNOT_TELL,
        words=f"cannot tell: {why}",
        work_kj=np.nan,
        low_kj=np.nan,
        high_kj=np.nan,
        work_j_mm2=np.nan,
        engagements=np.nan,
        sliding_min=np.nan,
        runs=0,
        change=np.nan,
        u_change=np.nan,
        least=bool(np.any(own.runs_not_counted > 0.0)),
        n_points=int(known.sum()),
        n_runs=len(set(own.run[known].tolist())),
        course_kj=nothing,
        course=nothing,
        fitted=nothing,
    )


def _judged(group: Group, settled: SettledGroup, pack: Pack, within: float) -> PackBedding:
    """Return the verdict on one pack.

    There is a change to speak of where the F test shows one, it is larger at the first
    point than the tolerance, and more points than one show it.
    """
    settling, courses = settled.settlings[pack.name], settled.courses
    rows = courses.rows[pack.name]
    work = courses.work_kj[rows]
    off = int(np.sum(work < settling.steady_at(within))) if settling.p < RISK else 0
    changes = off >= _LEAST_OFF
    low, high = settling.steady_interval(within) if changes else (np.nan, np.nan)
    at = settling.steady_at(within) if changes else np.nan
    reached = at if at <= settling.last else np.nan
    verdict, words = _verdict(settling, at, (low, high), within, off)
    geometry = pack_geometry(pack)
    return PackBedding(
        pack=pack.name,
        group=group,
        verdict=verdict,
        words=words,
        work_kj=at,
        low_kj=low,
        high_kj=high,
        work_j_mm2=1e-3 * at / (geometry.area_m2 * geometry.faces),
        engagements=float(np.interp(reached, work, courses.engagements[rows])),
        sliding_min=float(np.interp(reached, work, courses.sliding_s[rows])) / 60.0,
        runs=len(set(courses.run[rows][work <= reached].tolist())),
        change=settling.change,
        u_change=settling.u_change,
        least=bool(np.any(courses.least[rows])),
        n_points=work.size,
        n_runs=len(set(courses.run[rows].tolist())),
        course_kj=work,
        course=np.exp(courses.value[rows] - settled.level[rows]),
        fitted=np.exp(settling.change * settling.share_left(work) * changes),
    )


def _verdict(
    settling: Settling, at: float, ends: tuple[float, float], within: float, off: int
) -> tuple[str, str]:
    """Return the verdict and its words.

    `at` is NaN where there is no change to speak of, `off` points notwithstanding.
    """
    last, (low, high) = settling.last, ends
    if np.isnan(at):
        most = settling.most()
        if off:
            return CANNOT_TELL, "cannot tell: the first point alone is off"
        if most > _UNSEEN * within:
            return CANNOT_TELL, f"cannot tell: a change of {100.0 * most:.0f} % would not show"
        return STEADY, f"steady from the start: no change beyond {100.0 * most:.1f} %"
    if high <= last:
        return BEDDED, f"bedded after {at:.0f} kJ ({low:.0f} to {high:.0f})"
    if at > last:
        words = f"not yet steady after {last:.0f} kJ, at the end of the tests: keep bedding"
        return NOT_YET, words
    return NOT_YET, f"steady after {at:.0f} kJ at best, not shown by {last:.0f} kJ: keep bedding"


def _notices(packs: list[PackBedding]) -> list[Notice]:
    found = [
        Notice(
            Severity.WARNING,
            f"pack {one.pack}",
            one.words.partition(": ")[0],
            "Bed it longer before it is tested",
        )
        for one in packs
        if one.verdict == NOT_YET
    ]
    found += [
        Notice(
            Severity.NOTE,
            f"pack {one.pack}",
            "runs could not be read, so the sliding work to bed in is the least it can be",
            "Mend the runs named",
        )
        for one in packs
        if one.least
    ]
    return found
