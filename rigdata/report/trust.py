"""The section on what limits the numbers: the uncertainty budget."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rigdata.figures.budget import budget_bars
from rigdata.friction.budget import budget_at_reference
from rigdata.friction.causes import MISFIT, PACKS, RUNS, SHAPE, Share
from rigdata.friction.results import Group
from rigdata.report.blocks import Section, figure, items, kept, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, condition, joined, percent, rounded

_OTHERS = "all others together"
_LEAST_SHARE = 0.01  # causes below this share of every variance are summed up in one row


def budget_section(report: ReportInput) -> Section | None:
    """Say which cause of uncertainty matters most at the reference condition."""
    budgets = {
        group: budget_at_reference(report.points, fit) for group, fit in report.ordered_fits.items()
    }
    budgets = {group: shares for group, shares in budgets.items() if shares}
    if not budgets:
        return None
    budgets = _without_small_ones(budgets)
    at_reference = report.campaign.reference
    where = condition(
        at_reference.slip_speed_m_s, at_reference.temperature_c, at_reference.pressure_mpa
    )
    leading = [f"{s[0].cause} ({percent(s[0].share)}) for {g}" for g, s in budgets.items()]
    bars = {group: {s.cause: s.share for s in shares} for group, shares in budgets.items()}
    return Section(
        "budget",
        "Uncertainty budget",
        (
            paragraph(
                f"What the uncertainty of each material's mean coefficient comes from, at {where}."
            ),
            items(_advice(group, shares) for group, shares in budgets.items()),
            figure(
                budget_bars(bars, report.marks, last=_OTHERS),
                name="budget-bars",
                title="Share of variance by cause",
                caption="The longest bar is the cause worth working on first; the short ones "
                "are not worth the effort.",
                description=f"Ranked bars, one a cause. The largest is {joined(leading)}.",
            ),
            _budget_table(budgets),
        ),
    )


def _without_small_ones(
    budgets: Mapping[Group, tuple[Share, ...]],
) -> dict[Group, tuple[Share, ...]]:
    """Sum up the causes that matter to no group."""
    largest: dict[str, float] = {}
    for shares in budgets.values():
        for share in shares:
            largest[share.cause] = max(share.share, largest.get(share.cause, 0.0))
    small = {cause for cause, share in largest.items() if share < _LEAST_SHARE}
    if len(small) < 2:
        return dict(budgets)
    told = {}
    for group, shares in budgets.items():
        rest = [share for share in shares if share.cause in small]
        others = Share(
            _OTHERS,
            float(np.sqrt(sum(share.u**2 for share in rest))),
            sum(share.share for share in rest),
        )
        told[group] = (*(share for share in shares if share.cause not in small), others)
    return told


def _advice(group: Group, shares: tuple[Share, ...]) -> Content:
    """Say what limits the coefficient and what would help, by the kind of the cause."""
    first = shares[0]
    if first.cause == PACKS:
        what = "More packs narrow the interval; a better rig would not."
    elif first.cause == RUNS:
        what = "More runs of each pack narrow the interval; more points in a run would not."
    elif first.cause in (MISFIT, SHAPE):
        what = "More points narrow the interval, or a law that fits more closely."
    else:
        what = "Repeating the same tests would not narrow it much; knowing this cause better would."
    return (
        element("b", f"{group}: "),
        f"{first.cause} gives {percent(first.share)} of the variance. {what}",
    )


def _budget_table(budgets: Mapping[Group, tuple[Share, ...]]) -> Content:
    causes: dict[str, float] = {}
    for shares in budgets.values():
        for share in shares:
            causes[share.cause] = max(share.share, causes.get(share.cause, 0.0))
    rows = []
    for cause in sorted(causes, key=lambda name: (name == _OTHERS, -causes[name], name)):
        row = [cause]
        for shares in budgets.values():
            mine = next((share for share in shares if share.cause == cause), None)
            row.append(
                NO_NUMBER
                if mine is None
                else f"{rounded(mine.u, mine.u)} ({_share_text(mine.share)})"
            )
        rows.append(row)
    totals = [float(np.sqrt(sum(s.u**2 for s in shares))) for shares in budgets.values()]
    rows.append(["all causes", *(rounded(u, u) for u in totals)])
    return table(
        "Standard uncertainty of the coefficient from each cause alone, and in brackets its share "
        "of the variance.",
        ("Cause", *(kept(group) for group in budgets)),
        rows,
    )


def _share_text(share: float) -> str:
    return percent(share) if share >= 0.001 else "< 0.1 %"
