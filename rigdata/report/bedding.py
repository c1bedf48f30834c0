"""Section on bedding-in: from which sliding work on each pack was steady."""

from __future__ import annotations

import numpy as np

from rigdata.bedding.courses import NOT_BEDDED
from rigdata.bedding.keep_out import before_steady
from rigdata.bedding.results import BEDDED, NOT_YET, Bedding, PackBedding
from rigdata.figures.bedding import bedding_courses
from rigdata.report.blocks import Section, figure, items, paragraph, table
from rigdata.report.html import Content
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    NO_NUMBER,
    counted,
    interval,
    plain,
    rounded,
    signed,
    typeset,
)


def bedding_section(report: ReportInput) -> Section | None:
    """Say after how much sliding work mu was steady, and what was kept out before."""
    bedding = report.bedding
    if bedding is None:
        return None
    changed = [one for one in bedding.packs if one.verdict in (BEDDED, NOT_YET)]
    if not changed and not np.any(report.points.procedure == "bedding"):
        return None
    parts: list[Content] = [
        items(typeset(f"{one.words}.") for one in bedding.groups.values()),
        paragraph(_how(bedding), " ", _kept_out(report, bedding)),
    ]
    if changed:
        parts.append(_figure(report, bedding, changed))
    parts.append(_table(bedding))
    return Section("bedding", "Bedding-in", tuple(parts))


def _how(bedding: Bedding) -> str:
    return (
        "A pack is steady where its coefficient stays within "
        f"{100.0 * bedding.steady:g} % of the level it settles to, with the effects of slip "
        "speed, temperature and pressure taken out. All its runs count, whatever they were "
        "called. Sliding work is friction torque times slip over the whole of their logs, and "
        "what a pack had done before where the campaign states it."
    )


def _kept_out(report: ReportInput, bedding: Bedding) -> str:
    points = report.points
    runs = (points.procedure == "bedding") & ~points.used
    early, used = points.reason == NOT_BEDDED, before_steady(points, bedding)
    told = [
        f"The {counted(int(runs.sum()), 'point')} of bedding runs take no part in the laws."
        if np.any(runs)
        else "There were no bedding runs.",
        f"So do {counted(int(early.sum()), 'point')} of other runs, taken before their pack was "
        "steady."
        if np.any(early) and np.any(runs)
        else f"{counted(int(early.sum()), 'point')} taken before their pack was steady take no "
        "part in the laws."
        if np.any(early)
        else "No point of other runs had to be kept out.",
    ]
    if np.any(used):
        told.append(
            f"{counted(int(used.sum()), 'point')} taken before their pack was steady are in the "
            "laws all the same."
        )
    return " ".join(told)


def _figure(report: ReportInput, bedding: Bedding, changed: list[PackBedding]) -> Content:
    drawn = [one for one in changed if np.any(one.course_kj > 0.0)]
    return figure(
        bedding_courses(drawn, report.marks, bedding.steady),
        name="bedding-in",
        title="How the coefficient settled",
        caption="Points are means over short stretches of work, at all conditions of the tests; "
        "the lines are what was fitted. A pack is steady from its mark in the lower part on.",
        description="Coefficient against sliding work, relative to the steady level of each pack. "
        + "; ".join(f"pack {one.pack}: {one.words}" for one in drawn)
        + ".",
    )


def _table(bedding: Bedding) -> Content:
    rows = [
        (
            one.pack,
            str(one.group),
            rounded(one.work_kj, _quarter(one)) if one.runs else NO_NUMBER,
            _ends(one),
            f"{one.engagements:.0f}" if one.runs else NO_NUMBER,
            plain(one.sliding_min, 2) if one.runs else NO_NUMBER,
            f"{one.runs} of {one.n_runs}" if one.runs else str(one.n_runs),
            signed(100.0 * one.change),
            (one.verdict if one.verdict == BEDDED else typeset(one.words))
            + (" (work is the least it can be)" if one.least else ""),
        )
        for one in bedding.packs
    ]
    return table(
        f"Sliding work from which mu is steady within {100.0 * bedding.steady:g} %, with its 95 % "
        "interval, and what the pack had done by then in these tests; the change is that of the "
        "first point from the steady level.",
        (
            "Pack",
            "Material",
            "Steady from [kJ]",
            "Interval [kJ]",
            "Engagements",
            "Sliding [min]",
            "Runs",
            "Change [%]",
            "Verdict",
        ),
        rows,
        text=(1, 8),
    )


def _ends(one: PackBedding) -> str:
    if np.isinf(one.high_kj):
        return f"from {plain(one.low_kj, 2)}"
    return interval(one.low_kj, one.high_kj, _quarter(one))


def _quarter(one: PackBedding) -> float:
    """Return a quarter of the interval, or of the work itself where that has no end."""
    width = one.high_kj - one.low_kj
    return width / 4.0 if np.isfinite(width) else one.work_kj / 4.0
