"""Sections on what limits the numbers: the uncertainty budget and the scatter."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rigdata.figures.budget import budget_bars
from rigdata.figures.quality import pack_offsets
from rigdata.friction.budget import budget_at_reference
from rigdata.friction.causes import MISFIT, PACKS, RUNS, Share
from rigdata.friction.conditions import at
from rigdata.friction.results import FrictionFit, Group, fitted_points
from rigdata.report.blocks import Section, figure, items, kept, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, condition, joined, percent, rounded, signed

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
    elif first.cause == MISFIT:
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


def scatter_section(report: ReportInput) -> Section | None:
    """Say how much packs and runs differ beyond what measurement explains."""
    if not report.fits:
        return None
    rows = []
    for group, fit in report.ordered_fits.items():
        here = fit.predict(at(report.campaign.reference))
        rows.append(
            (
                str(group),
                f"{_scatter_text(fit.scatter.pack)} ({fit.n_packs})",
                f"{_scatter_text(fit.scatter.run)} ({fit.n_runs})",
                f"{_scatter_text(fit.scatter.misfit)} ({fit.n_points})",
                percent(float(here.u_mu[0] / here.mu[0])),
            )
        )
    packs = _pack_rows(report)
    return Section(
        "scatter",
        "Scatter between packs and runs",
        (
            items(_scatter_words(fit) for fit in report.ordered_fits.values()),
            table(
                "Standard deviations relative to the coefficient, beyond what measurement "
                "explains; in brackets how many were tested.",
                (
                    "Material (state)",
                    "Between packs",
                    "Between runs",
                    "Between points",
                    "For comparison: uncertainty of the mean",
                ),
                rows,
            ),
            figure(
                pack_offsets(report.points, report.ordered_fits, report.marks),
                name="pack-offsets",
                title="Packs against the law of their material",
                caption="The distance between dots of one colour is how far packs differ; the "
                "bars are the spread of one pack's points.",
                description="Mean deviation of each pack's points from the law of its material, "
                "with their standard deviation. "
                + "; ".join(f"pack {row[0]}: {row[5]} %" for row in packs)
                + ".",
            ),
            table(
                "Each pack against the law of its material: mean deviation and spread of its "
                "points.",
                (
                    "Pack",
                    "Material (state)",
                    "Batch",
                    "Runs",
                    "Points",
                    "Mean deviation [%]",
                    "Spread [%]",
                ),
                [(row[0], kept(row[1]), *row[2:]) for row in packs],
                text=(1, 2),
            ),
        ),
    )


def _scatter_words(fit: FrictionFit) -> Content:
    name = element("b", f"{fit.group}: ")
    spread = fit.scatter.pack
    if spread is None:
        return (
            name,
            "only one pack was tested, so nothing is known of how packs differ and no interval "
            "for the next pack is given.",
        )
    if spread < 5e-5:  # nought as far as the table shows
        return (name, f"the {fit.n_packs} packs differ no more than their measurement explains.")
    return (
        name,
        f"packs differ by {percent(spread)} (one standard deviation, from {fit.n_packs} packs).",
    )


def _scatter_text(value: float | None) -> str:
    if value is None:
        return "not known"
    return percent(value) if value >= 5e-5 else "none seen"


def _pack_rows(report: ReportInput) -> list[tuple[str, ...]]:
    """How far each pack lies from the law of its group."""
    rows: list[tuple[str, ...]] = []
    for group, fit in report.ordered_fits.items():
        points = fitted_points(report.points, fit)
        for pack in dict.fromkeys(points.pack.tolist()):
            mine = points.pack == pack
            residual = 100.0 * fit.residual[mine]
            spread = float(residual.std(ddof=1)) if residual.size > 1 else float("nan")
            rows.append(
                (
                    pack,
                    str(group),
                    str(points.batch[mine][0]),
                    str(len(set(points.run[mine].tolist()))),
                    str(residual.size),
                    signed(float(residual.mean()), 2),
                    rounded(spread, spread),
                )
            )
    return rows
