"""Sections on stick and slip: the slope over slip speed, and breakaway."""

from __future__ import annotations

import numpy as np

from rigdata.comparison.traits import Trait, speed_slopes, static_ratios
from rigdata.figures.breakaway import against_dwell, breakaway
from rigdata.friction.conditions import DWELL, at
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.slopes import dwell_rise, follows
from rigdata.reduction.points import FrictionPoints
from rigdata.report.blocks import Section, figure, items, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    NO_NUMBER,
    counted,
    interval,
    joined,
    plain,
    rounded,
    typeset,
)
from rigdata.report.slopes import slope_blocks
from rigdata.report.stick_slip import stick_slip_part


def chatter_section(report: ReportInput) -> Section | None:
    """Say whether a pack is likely to stick and slip."""
    reference = report.campaign.reference
    slopes = speed_slopes(report.ordered_fits, reference)
    steps = static_ratios(report.points, report.ordered_fits, report.static, reference)
    seen = stick_slip_part(report)
    if not (slopes or steps or seen):
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
            items(typeset(trait.words) + "." for trait in (*slopes, *steps)) if rows else None,
            *slope_blocks(report),
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
            )
            if rows
            else None,
            seen,
        ),
    )


def _trait_of(group: Group, traits: tuple[Trait, ...]) -> Trait | None:
    return next((trait for trait in traits if trait.group == group), None)


def _trait_cells(trait: Trait | None) -> tuple[str, str]:
    if trait is None:
        return NO_NUMBER, NO_NUMBER
    return rounded(trait.value, trait.u), interval(trait.low, trait.high, trait.u)


def breakaway_section(report: ReportInput) -> Section | None:
    """Show the static coefficients by group, over dwell, and pack by pack."""
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
            items(_static_words(report.static[g]) for g in report.marks if g in report.static),
            _static_table(report),
            _dwell_figure(report, static),
            figure(
                breakaway(static, report.marks),
                name="breakaway-packs",
                title="Static friction coefficient at breakaway",
                caption="A spread within one pack that is wider than the bars is the effect of "
                "dwell, temperature or pressure, or real scatter.",
                description=f"{counted(int(np.sum(static.used)), 'static coefficient')} of "
                f"{counted(len(rows), 'pack')}, by pack. {told}.",
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


def _dwell_figure(report: ReportInput, static: FrictionPoints) -> Content:
    """The static coefficient against dwell, where dwells and laws are known."""
    fits = {group: report.static[group] for group in report.marks if group in report.static}
    if not (fits and np.any(static.used & (static.dwell_s > 0.0))):
        return None
    return figure(
        against_dwell(static, fits, report.marks),
        name="breakaway-dwell",
        title="Static friction coefficient against dwell",
        caption="A line of one run that rises to the right is the effect of the dwell; lines of "
        "different runs lie apart because packs differ. Points are moved along the law to the "
        "reference pressure.",
        description="Static coefficient of each material and state against the time under load "
        "at rest, on a logarithmic scale, with the fitted law and its intervals. "
        + " ".join(_static_sentence(fit) for fit in fits.values()),
    )


def _static_words(fit: FrictionFit) -> Content:
    return element("b", f"{fit.group}: "), typeset(_static_sentence(fit))


def _static_sentence(fit: FrictionFit) -> str:
    """Say what the static coefficient is, and how it moves with the dwell."""
    reference, here = fit.reference, fit.predict(at(fit.reference))
    mu, u = float(here.mu[0]), float(here.u_mu[0])
    held = {
        "temperature_c": f"{plain(reference.temperature_c)} degC",
        "pressure_mpa": f"{plain(reference.pressure_mpa)} MPa",
    }
    place = joined([words for axis, words in held.items() if follows(fit, axis)])
    after = f"after {plain(reference.dwell_s or 0.0)} s at rest" if follows(fit, DWELL) else ""
    where = " ".join(part for part in (after, f"at {place}" if place else "") if part)
    if not where:
        return f"{rounded(mu, u)}, the mean of all breakaways."
    told, rise = f"{rounded(mu, u)} {where} (law {fit.law})", dwell_rise(fit)
    if rise is None:
        return f"{told}; no effect of the dwell is shown."
    way = "rises" if rise.value > 0.0 else "falls"
    value, low, high, u = (100.0 * part for part in (rise.value, rise.low, rise.high, rise.u))
    size = f"{rounded(abs(value), u)} % (95 % interval {interval(low, high, u)} %)"
    return f"{told}; it {way} by {size} for ten times the dwell."


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
    """The static coefficient of each group at its reference."""
    rows = []
    for group in report.marks:
        if group not in report.static:
            continue
        fit = report.static[group]
        here = fit.predict(at(fit.reference))
        mu, u = float(here.mu[0]), float(here.u_mu[0])
        rise = dwell_rise(fit)
        rows.append(
            (
                str(group),
                rounded(mu, u) + ("" if here.inside[0] else " *"),
                rounded(u, u),
                interval(float(here.mean_low[0]), float(here.mean_high[0]), u),
                interval(float(here.next_pack_low[0]), float(here.next_pack_high[0]), u),
                fit.law,
                NO_NUMBER if rise is None else rounded(100.0 * rise.value, 100.0 * rise.u),
                f"{fit.n_packs} ({fit.n_points})",
            )
        )
    if not rows:
        return None
    reference = next(iter(report.static.values())).reference
    after = plain(reference.dwell_s or 0.0)
    star = (
        " A star marks a reference that was not tested." if any("*" in r[1] for r in rows) else ""
    )
    return table(
        f"Static coefficients with 95 % intervals, at {plain(reference.temperature_c)} degC, "
        f"{plain(reference.pressure_mpa)} MPa and after {after} s at rest where the law follows "
        f"them, else the mean of all tested.{star}",
        (
            "Material (state)",
            "Static coefficient",
            "Standard uncertainty",
            "Mean of all packs",
            "One more pack",
            "Law",
            "Rise, tenfold dwell [%]",
            "Packs (points)",
        ),
        rows,
        text=(5,),
    )
