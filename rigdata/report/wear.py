"""Section on wear: what goes first and when, and what that rests on."""

from __future__ import annotations

import numpy as np

from rigdata.figures.wear import service_lives, wear_courses
from rigdata.report.blocks import Section, figure, items, paragraph, table
from rigdata.report.html import Content
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    NO_NUMBER,
    counted,
    interval,
    percent,
    plain,
    rounded,
    significant,
    typeset,
)
from rigdata.wear.assess import Wear
from rigdata.wear.life import LEVEL, LimitLife, ServiceLife


def wear_section(report: ReportInput) -> Section | None:
    """Say which plates of which material wear out first, and when."""
    wear = report.wear
    if wear is None or not (wear.members or wear.histories):
        return None
    content: list[Content] = []
    if wear.lives:
        content += [
            items(typeset(f"{life.words}. {life.plan}.") for life in wear.lives),
            _lives_figure(wear.lives),
            _lives_table(wear.lives),
        ]
    content += [_courses_figure(report, wear), _rates_table(wear), _history_table(wear)]
    if wear.recoveries:
        content += [
            paragraph("What heat took for good within the tests, and what came back on cooling:"),
            items(typeset(f"{g}: {f.words}.") for g, f in wear.recoveries.items()),
        ]
    if wear.repeatability:
        repeats = {
            "thickness_mm": ("thickness", "mm"),
            "mass_g": ("mass", "g"),
            "roughness_ra_um": ("roughness", "\N{MICRO SIGN}m"),
        }
        told = ", ".join(
            f"{repeats[one.quantity][0]} {significant(one.sd, 2)} {repeats[one.quantity][1]}"
            for one in wear.repeatability
        )
        content.append(
            paragraph(
                f"Readings of one plate at one time repeat with a standard deviation: {told}."
            )
        )
    return Section("wear", "Wear and service life", tuple(content))


def _lives_figure(lives: tuple[ServiceLife, ...]) -> Content:
    """Draw the lives on the first duty: on the others only the hours scale."""
    first = lives[0].duty
    shown = [life for life in lives if life.duty == first]
    on = f" on the duty {first.name}" if first is not None else ""
    return figure(
        service_lives(shown),
        name="service-lives",
        title=f"When each limit is met{on}",
        caption=f"The pack must come out at the first mark of its material; bars hold "
        f"{100 * LEVEL:.0f} % of further packs.",
        description="; ".join(life.words for life in shown) + ".",
    )


def _lives_table(lives: tuple[ServiceLife, ...]) -> Content:
    rows = [
        (
            life.material,
            life.duty.name if life.duty is not None else "as served",
            limit.what,
            plain(limit.limit),
            _hours(limit.hours),
            _ends(limit),
            _hours(limit.tested_hours),
        )
        for life in lives
        for limit in life.limits
    ]
    return table(
        "Service life: when each limit is met by the mean pack, and by one more pack.",
        (
            "Material",
            "Duty",
            "Limit on",
            "Limit [mm, or coefficient]",
            "Hours [h]",
            f"{100 * LEVEL:.0f} % of packs [h]",
            "Tested to [h]",
        ),
        rows,
        text=(1, 2),
    )


def _hours(value: float) -> str:
    return f"{value:.0f}" if np.isfinite(value) else "no end"


def _ends(limit: LimitLife) -> str:
    if np.isnan(limit.low):
        return NO_NUMBER
    return f"{_hours(limit.low)} to {_hours(limit.high)}"


def _courses_figure(report: ReportInput, wear: Wear) -> Content:
    rates = {(m.rate.material, m.rate.member): m.rate for m in wear.members}
    limits = {}
    for material, member in rates:
        service = report.campaign.materials[material].service
        due = getattr(service, f"{member}_wear_limit_mm") if service is not None else None
        if due is not None:
            limits[material, member] = 1e3 * due
    packs = sum(len(course.levels) for course in wear.histories.values())
    return figure(
        wear_courses(wear.plates, rates, limits, wear.histories),
        name="wear-courses",
        title="What service takes off",
        caption="Above, thickness lost by each plate with the mean rate and its 95 % band; below, "
        "the coefficient of each pack at the reference condition.",
        description=f"Thickness lost by the plates of {counted(len(rates), 'member')}, and the "
        f"coefficients of {counted(packs, 'pack')} against service; the rates stand in the table.",
    )


def _rates_table(wear: Wear) -> Content:
    if not wear.members:
        return None
    rows = []
    for member in wear.members:
        rate, mass = member.rate, member.mass
        first, last = member.roughness_um
        rows.append(
            (
                f"{rate.material}, {rate.member}",
                f"{rounded(rate.rate, rate.u)} per {rate.per}",
                interval(rate.low, rate.high, rate.u),
                interval(1e6 * member.specific_low, 1e6 * member.specific_high),
                NO_NUMBER if mass is None else interval(mass.low, mass.high),
                f"{plain(first, 2)} to {plain(last, 2)}" if np.isfinite(first) else NO_NUMBER,
                f"{rate.n_packs}, {rate.n_plates}, {rate.n_readings}",
            )
        )
    return table(
        "Wear of the plates, with 95 % intervals: thickness lost, specific wear rate of a face, "
        "mass lost over what the thickness says, and mean roughness from first to last reading.",
        (
            "Material, plates",
            "Thickness lost [\N{MICRO SIGN}m]",
            "Interval [\N{MICRO SIGN}m]",
            "k [10\N{SUPERSCRIPT MINUS}\N{SUPERSCRIPT SIX} mm\N{SUPERSCRIPT THREE}/(N m)]",
            "Mass over thickness",
            "Ra [\N{MICRO SIGN}m]",
            "Packs, plates, readings",
        ),
        rows,
    )


def _history_table(wear: Wear) -> Content:
    if not wear.histories:
        return None
    rows = []
    for material, course in wear.histories.items():
        u = 1e4 * course.u
        rows.append(
            (
                material,
                plain(course.mu_new, 4),
                f"{rounded(1e4 * course.slope, u)} % per 100 {course.per}",
                f"{interval(1e4 * course.low, 1e4 * course.high, u)} %",
                percent(course.pack_sd),
                str(len(course.levels)),
            )
        )
    return table(
        "Loss of bite: the coefficient at the reference condition against service, all states "
        "together, with 95 % intervals.",
        ("Material", "Unused", "Change", "Interval", "Packs differ by", "Packs"),
        rows,
        text=(2, 3),
    )
