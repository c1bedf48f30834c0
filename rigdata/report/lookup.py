"""The look-up panel: a coefficient at any tested condition, read in the page itself."""

from __future__ import annotations

import json
import math
from typing import Any

from rigdata.friction.results import Group
from rigdata.report.blocks import Section, paragraph
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.tables.table import CoefficientTable

_FIELDS = ("mu", "mean_low", "mean_high", "next_pack_low", "next_pack_high")
_DIGITS = 9  # of each number in the page; a reading then agrees with the table to 1e-8
_FIELDSET = (
    ("speed", "Slip speed [m/s]"),
    ("temperature", "Plate temperature [\N{DEGREE SIGN}C]"),
    ("pressure", "Face pressure [MPa]"),
)


def lookup_section(report: ReportInput) -> Section | None:
    """Let the reader choose a table and a condition; without a script, point to the files."""
    if not report.tables:
        return None
    return Section(
        "lookup",
        "Look up a coefficient",
        (
            paragraph(
                "Choose a material and a condition of sliding plates. The numbers are those of "
                "the coefficient tables; where nothing was tested there is none."
            ),
            element(
                "noscript",
                paragraph(
                    "This panel needs a browser that runs the script in this page. The same "
                    "numbers stand in the files named under ",
                    element("a", "coefficient tables", href="#tables"),
                    ".",
                ),
            ),
            _form(report),
            element("script", panel_data(report), id="lookup-data", type="application/json"),
        ),
    )


def panel_data(report: ReportInput) -> str:
    """Return the kinetic tables of a report as JSON for the script of the panel.

    A list of objects: ``name``; ``axes``, the nodes of slip speed, temperature and
    pressure [m/s, degC, MPa]; ``fields``, each flat with the pressure running fastest
    and null for no number; ``unit``, ``normals`` and ``offsets`` of the envelope, as in
    coefficients.json; ``reference``.
    """
    tables = [_table(table) for table in _ordered(report)]
    found = json.dumps(tables, separators=(",", ":"))
    return found.replace("<", "\\u003c")  # a name cannot end the element


def _ordered(report: ReportInput) -> list[CoefficientTable]:
    """Return the tables in the order of the marks, the baseline first."""
    order = list(report.marks)
    return sorted(report.tables, key=lambda t: order.index(Group(t.material, t.state)))


def _table(table: CoefficientTable) -> dict[str, Any]:
    hull = table.envelope.to_dict()
    return {
        "name": f"{table.material} ({table.state})",
        "axes": [nodes.tolist() for nodes in table.axes],
        "fields": {
            name: [_number(value) for value in table.field(name).ravel().tolist()]
            for name in _FIELDS
        },
        "unit": hull["unit"],
        "normals": hull["normals"],
        "offsets": hull["offsets"],
        "reference": list(table.reference),
    }


def _number(value: float) -> float | None:
    return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None


def _form(report: ReportInput) -> Content:
    choices = [element("option", f"{t.material} ({t.state})") for t in _ordered(report)]
    fields = [
        element(
            "label",
            label,
            element(
                "input",
                type="number",
                step="any",
                id=f"lookup-{name}",
                name=name,
                aria_describedby=f"lookup-{name}-range",
            ),
            element("small", id=f"lookup-{name}-range"),
        )
        for name, label in _FIELDSET
    ]
    return element(
        "form",
        element(
            "div",
            element("label", "Material (state)", element("select", choices, id="lookup-table")),
            fields,
            class_="fields",
        ),
        element("p", id="lookup-readout", role="status", aria_live="polite"),
        element("svg", id="lookup-drawing", viewBox="0 0 760 340", role="img", aria_label="Empty."),
        paragraph(
            "Solid line: mean of all packs. Band: its 95 % interval. Dotted: one more pack, 95 %. "
            "Grey dashes: not tested there. Slight waves are the straight lines between the nodes "
            "of the table.",
            class_="note",
        ),
        id="lookup-form",
        hidden="hidden",
        autocomplete="off",
    )
