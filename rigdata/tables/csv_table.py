"""The table as comma-separated text: coefficients.csv, and static.csv for breakaway.

One row a node, slip speed slowest; static.csv has the dwell before breakaway
beside the pressure where it is known.  UTF-8, decimal point, one header line; a
cell is blank where only one pack was tested and there is no next-pack interval.
"""

from __future__ import annotations

import math
from pathlib import Path

from rigdata.storage.files import write_text
from rigdata.tables.exporter import Exporter
from rigdata.tables.rows import rows_of
from rigdata.tables.table import CoefficientTable

KINETIC = "coefficients.csv"
STATIC = "static.csv"


def csv_text(table: CoefficientTable) -> str:
    """Return the rows of a table as text, numbers to the last digit."""
    columns = rows_of(table)
    rows = [",".join(columns)]
    for *values, inside in zip(*(column.tolist() for column in columns.values()), strict=True):
        cells = ["" if math.isnan(value) else repr(value) for value in values]
        rows.append(",".join([*cells, "true" if inside else "false"]))
    return "\n".join(rows) + "\n"


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write coefficients.csv, and static.csv where breakaway was tested."""
    written = [folder / KINETIC]
    write_text(written[0], csv_text(table))
    if table.static is not None:
        written.append(folder / STATIC)
        write_text(written[1], csv_text(table.static))
    return tuple(written)


EXPORTER = Exporter("csv", "comma-separated text", write)
