"""Sections on stick and slip: the slope over slip speed, and breakaway."""

from __future__ import annotations

import numpy as np

from rigdata.comparison.traits import Trait, speed_slopes, static_ratios
from rigdata.figures.breakaway import breakaway
from rigdata.friction.conditions import at
from rigdata.friction.results import Group
from rigdata.reduction.points import FrictionPoints
from rigdata.report.blocks import Section, figure, items, paragraph, table
from rigdata.report.html import Content
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, counted, interval, rounded, typeset


def chatter_section(report: ReportInput) -> Section | None:
    """Say whether a pack is likely to stick and slip."""
    reference = report.campaign.reference
    slopes = speed_slopes(report.ordered_fits, reference)
    steps = static_ratios(report.points, report.ordered_fits, report.static, reference)
    if not (slopes or steps):
        return None
    rows = []
    for group in report.marks:
        slope, step = _trait_of(group, slopes), _trait_of(group, steps)
        if slope is not None or step is not None:
            rows.append((str(group), *_trait_cells(slope), *_trait_cells(step)))
    return Section(
        "chatter",
        "Chatter tendency",
        (
            paragraph(
                "A coefficient that falls with slip speed, or a static one well above the "
                "kinetic, lets a pack stick and slip."
            ),
            items(typeset(trait.words) + "." for trait in (*slopes, *steps)),
            table(
                "Slope of the coefficient over slip speed and ratio of the static to the kinetic "
                "coefficient, with 95 % intervals.",
                (
                    "Material (state)",
                    "Slope [s/m]",
                    "95 % interval [s/m]",
                    "Static over kinetic",
                    "95 % interval",
                ),
                rows,
            ),
        ),
    )


def _trait_of(group: Group, traits: tuple[Trait, ...]) -> Trait | None:
    return next((trait for trait in traits if trait.group == group), None)


def _trait_cells(trait: Trait | None) -> tuple[str, str]:
    if trait is None:
        return NO_NUMBER, NO_NUMBER
    return rounded(trait.value, trait.u), interval(trait.low, trait.high, trait.u)


def breakaway_section(report: ReportInput) -> Section | None:
    """Show the static coefficients, pack by pack."""
    static = report.points.select(report.points.kind == "static")
    if not len(static):
        return None
    rows = [
        _pack_row(static.select((static.pack == pack) & static.used))
        for pack in dict.fromkeys(static.pack[static.used].tolist())
    ]
    told = "; ".join(f"pack {row[0]}: mean {row[5]}" for row in rows)
    return Section(
        "breakaway",
        "Breakaway",
        (
            _static_table(report),
            figure(
                breakaway(static, report.marks),
                name="breakaway-packs",
                title="Static friction coefficient at breakaway",
                caption="A spread within one pack that is wider than the bars is real scatter, "
                "and a rise to the right in the second panel is the effect of the dwell.",
                description=f"{counted(int(np.sum(static.used)), 'static coefficient')} of "
                f"{counted(len(rows), 'pack')}, by pack and against dwell. {told}.",
            ),
            table(
                "Static coefficients by pack; the uncertainty is that of one point.",
                (
                    "Pack",
                    "Material",
                    "State",
                    "Points",
                    "Dwell [s]",
                    "Mean",
                    "Standard deviation",
                    "Standard uncertainty",
                ),
                rows,
                text=(1, 2),
            ),
        ),
    )


def _pack_row(own: FrictionPoints) -> tuple[str, ...]:
    spread = float(own.mu.std(ddof=1)) if len(own) > 1 else float("nan")
    dwell = own.dwell_s[np.isfinite(own.dwell_s)]
    u = float(np.median(own.u_mu))
    return (
        str(own.pack[0]),
        str(own.material[0]),
        str(own.state[0]),
        str(len(own)),
        interval(float(dwell.min()), float(dwell.max()), 0.2 * float(dwell.max()))
        if dwell.size
        else NO_NUMBER,
        rounded(float(own.mu.mean()), u),
        rounded(spread, spread),
        rounded(u, u),
    )


def _static_table(report: ReportInput) -> Content:
    """The mean static coefficient of each group."""
    rows = []
    for group in report.marks:
        if group not in report.static:
            continue
        fit = report.static[group]
        here = fit.predict(at(report.campaign.reference))
        mu, u = float(here.mu[0]), float(here.u_mu[0])
        rows.append(
            (
                str(group),
                rounded(mu, u),
                rounded(u, u),
                interval(float(here.mean_low[0]), float(here.mean_high[0]), u),
                interval(float(here.next_pack_low[0]), float(here.next_pack_high[0]), u),
                str(fit.n_packs),
                str(fit.n_points),
            )
        )
    if not rows:
        return None
    return table(
        "Static coefficients with 95 % intervals.",
        (
            "Material (state)",
            "Static coefficient",
            "Standard uncertainty",
            "Mean of all packs",
            "One more pack",
            "Packs",
            "Points",
        ),
        rows,
    )
