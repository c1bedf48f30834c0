"""The run sheet of a plan: what to do at the bench, block by block, with boxes to fill in."""

from __future__ import annotations

import math
from collections.abc import Iterator

from rigdata.planning.blocks import Block, PlannedRun
from rigdata.planning.candidates import Range, span
from rigdata.planning.plan import Plan
from rigdata.planning.words import answer, basis_words, design_words, duration, limit_words
from rigdata.reduction.geometry import Geometry, pack_geometry
from rigdata.report.blocks import items, paragraph, table
from rigdata.report.html import Content, Element, element
from rigdata.report.layout import document
from rigdata.report.numbers import NO_NUMBER, condition, counted, plain, significant, typeset

_BOX = "\N{WHITE SQUARE}"
_FIELDS = ("Date", "Operator", "Oil filled on", "Hall, \N{DEGREE SIGN}C", "Pack mounted at")
_HEAD = (
    "Run",
    "Done",
    "Procedure",
    "Slip speed, m/s",
    "Speed, 1/min",
    "Plates, \N{DEGREE SIGN}C",
    "Face pressure, MPa",
    "Clamp load, N",
    "About, min",
    "Log, if not logs/RUN.csv",
    "Torque zero, before and after",
    "Remarks",
)


def run_sheet(plan: Plan) -> str:
    """Return the run sheet as one HTML document that prints on A4 or Letter."""
    geometry = pack_geometry(plan.request.pack)
    body = element(
        "body",
        element("header", element("h1", f"Run sheet: {plan.request.name}"), _first_page(plan)),
        element("main", [_block(plan, block, geometry) for block in plan.blocks]),
    )
    return document(f"Run sheet: {plan.request.name}", ("run_sheet.css",), body)


def _first_page(plan: Plan) -> Iterator[Content]:
    request, where = plan.request, plan.request.reference
    place = condition(where.slip_speed_m_s, where.temperature_c, where.pressure_mpa)
    yield paragraph(answer(plan).replace("+-", "\N{PLUS-MINUS SIGN}"), class_="lead")
    yield _cautions()
    yield element("h2", "Before the first run")
    ticks = (
        f"The calibration records of {request.rig.name} hold on every day planned "
        "(rigdata calibrations).",
        "The logger writes all channels of the rig file, and its clock is right.",
        "Plates measured and marked: thickness, and radii where they are not as stated.",
        "Every run starts and ends with five seconds unloaded at standstill.",
        "Keep the order of the runs as it stands: it was drawn so that drift cannot pass for an "
        "effect. Write down what was done otherwise.",
        "Repeat the bedding-in until three engagements in a row give the same torque within 1 %.",
    )
    yield element("ul", [element("li", f"{_BOX} {tick}") for tick in ticks], class_="boxes")
    yield element("h2", "What these tests will tell")
    yield _options(plan)
    yield items(
        [
            typeset(f"At the reference: {place}."),
            typeset(limit_words(plan)),
            typeset(design_words(plan)),
            *(typeset(words) for words in basis_words(plan)),
        ]
    )


def _cautions() -> Element:
    return element(
        "div",
        paragraph(
            element("b", "Rotating parts, clamped parts and hot oil can injure. "),
            "Guard the rig before it turns. Release the clamp load, stop the drive and let plates "
            "and oil cool before you reach in. Know where the emergency stop is.",
        ),
        paragraph(
            element("b", "Stop the run "),
            "when smoke, noise or a leak shows, or a temperature leaves its range. A run that was "
            "stopped is a remark, not a loss.",
        ),
        class_="caution",
    )


def _options(plan: Plan) -> Element:
    rows = []
    for option in plan.options:
        mark = " (planned)" if option is plan.taken else ""
        shown = _percent(option.resolvable) if option.ratios else NO_NUMBER
        rows.append(
            [
                f"{option.packs}{mark}",
                _percent(max(mu.u for mu in option.mu)),
                f"\N{PLUS-MINUS SIGN}{_percent(option.half_width)}",
                shown,
                plain(option.hours, 2),
            ]
        )
    head = (
        "Packs of each",
        "u of mu, the largest",
        "95 % interval of mu, the widest",
        f"difference shown with {plan.request.power_percent:g} % power",
        "hours at the rig",
    )
    return table("What more or fewer packs would tell, from the fit's own algebra.", head, rows)


def _block(plan: Plan, block: Block, geometry: Geometry) -> Element:
    day = f"Day {block.day}"
    if plan.dates:
        day += f", {plan.dates[block.day - 1]:%a %d %b %Y}"
    title = f"{day}: pack {block.pack}, {block.group.material}, batch {block.group.batch}"
    sheet = table(
        f"{counted(len(block.runs), 'run')}, about {duration(block.minutes)} with mounting",
        _HEAD,
        [_row(run, geometry) for run in block.runs],
        text=(1, 2, 9, 10, 11),
    )
    return element(
        "section",
        element("h2", title),
        element(
            "div", [element("span", name, class_="field") for name in _FIELDS], class_="fields"
        ),
        element("div", sheet, class_="runs"),
        class_="block",
    )


def _row(run: PlannedRun, geometry: Geometry) -> list[Content]:
    test = run.test
    to_rpm = 60.0 / (2.0 * math.pi * geometry.radius_m)
    to_newton = 1e6 * geometry.area_m2
    speed, pressure = test.slip_speeds_m_s, test.pressures_mpa
    details = [run.purpose] if run.purpose else []
    if test.dwells_s:
        dwells = ", ".join(f"{dwell:g}" for dwell in test.dwells_s)
        details.append(f"after {dwells} s at rest under load")
    return [
        run.id,
        _BOX,
        ", ".join([test.procedure, *details]),
        _still(speed, "at rest"),
        _still(_scaled(speed, to_rpm), NO_NUMBER),
        span(test.temperatures_c),
        _still(pressure, "unloaded"),
        _still(_scaled(pressure, to_newton), NO_NUMBER),
        plain(test.minutes, 2),
        "",
        "",
        "",
    ]


def _percent(share: float) -> str:
    return typeset(f"{significant(100.0 * share, 2)} %")


def _scaled(ends: Range, factor: float) -> Range:
    low, high = (float(f"{end * factor:.3g}") for end in ends)
    return low, high


def _still(ends: Range, words: str) -> str:
    return span(ends) if any(ends) else words
