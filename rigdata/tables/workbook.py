"""The table as a spreadsheet workbook: coefficients.xlsx.

Sheets: a summary at the reference condition with a chart, the nodes, and where it comes
from.  Numbers are numbers, texts are texts whatever they begin with, there are no
macros, and the file is the same to the byte whenever it is written again.  Needs
xlsxwriter, which the extra ``workbook`` brings.
"""

from __future__ import annotations

import datetime
import io
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from rigdata.errors import TableError
from rigdata.extras import wanted_package
from rigdata.quantities import QUANTITIES
from rigdata.storage.files import write_bytes
from rigdata.tables.exporter import Exporter
from rigdata.tables.rows import rows_of, unit_of
from rigdata.tables.slices import speed_line
from rigdata.tables.table import FIELDS, CoefficientTable

FILE = "coefficients.xlsx"
_CREATED = datetime.datetime(2000, 1, 1)  # the campaign's date is on the last sheet
_OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write coefficients.xlsx.

    Raises
    ------
    TableError
        When xlsxwriter is not installed.
    """
    xlsxwriter = wanted_package("xlsxwriter", "workbook", TableError)
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, _OPTIONS)
    book.set_properties({"title": str(table), "created": _CREATED})
    bold = book.add_format({"bold": True})
    _summary(book, table, bold)
    _nodes(book.add_worksheet("kinetic"), table, bold)
    if table.static is not None:
        _nodes(book.add_worksheet("static"), table.static, bold)
    _write_rows(book.add_worksheet("provenance"), _provenance(table), bold)
    book.close()
    write_bytes(folder / FILE, held.getvalue())
    return (folder / FILE,)


EXPORTER = Exporter("xlsx", "spreadsheet workbook, with xlsxwriter", write, always=False)


def _summary(book: Any, table: CoefficientTable, bold: Any) -> None:
    sheet = book.add_worksheet("reference")
    place = ", ".join(
        f"{value:g} {QUANTITIES[name].unit}"
        for name, value in zip(table.axis_names, table.reference, strict=True)
    )
    line = speed_line(table)
    fields = ["slip_speed_m_s", *FIELDS[: line.matrix.shape[1] - 1]]
    about = [
        ("Material", table.material),
        ("State", table.state),
        ("Reference condition", place),
        ("Law", table.law),
        ("Caution", "Bench values, no guarantee on the vehicle. Use inside the envelope only."),
    ]
    _write_rows(sheet, about, bold)
    first = len(about) + 1
    sheet.write_string(first, 0, f"Against slip speed: {line.words}")
    _write_table(sheet, first + 1, fields, line.matrix.tolist(), bold)
    last = first + 1 + len(line.matrix)
    chart = book.add_chart({"type": "scatter", "subtype": "straight_with_markers"})
    chart.add_series(
        {
            "name": "mu",
            "categories": ["reference", first + 2, 0, last, 0],
            "values": ["reference", first + 2, 1, last, 1],
        }
    )
    chart.set_x_axis({"name": "slip speed [m/s]", "log_base": 10})
    chart.set_y_axis({"name": "friction coefficient"})
    chart.set_legend({"none": True})
    sheet.insert_chart(0, len(fields) + 1, chart)
    sheet.set_column(0, len(fields), 18)


def _nodes(sheet: Any, table: CoefficientTable, bold: Any) -> None:
    columns = rows_of(table)
    names = [f"{name} [{unit_of(name)}]" for name in columns]
    rows = zip(*(values.tolist() for values in columns.values()), strict=True)
    _write_table(sheet, 0, names, rows, bold)
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, len(names), 18)


def _provenance(table: CoefficientTable) -> list[tuple[str, str]]:
    rows = []
    for key, value in table.provenance.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            rows += [(key, f"{part['id']} {part['sha256']}") for part in value]
        else:
            told = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
            rows.append((key, told))
    return rows


def _write_rows(sheet: Any, rows: Iterable[tuple[str, str]], bold: Any) -> None:
    for i, (name, text) in enumerate(rows):
        sheet.write_string(i, 0, name, bold)
        sheet.write_string(i, 1, text)


def _write_table(
    sheet: Any, top: int, names: Sequence[str], rows: Iterable[Sequence[Any]], bold: Any
) -> None:
    for j, name in enumerate(names):
        sheet.write_string(top, j, name, bold)
    for i, row in enumerate(rows, start=top + 1):
        for j, value in enumerate(row):
            if isinstance(value, bool):
                sheet.write_boolean(i, j, value)
            elif math.isfinite(value):
                sheet.write_number(i, j, value)
