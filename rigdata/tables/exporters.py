"""Every file format of a coefficient table, in the order of writing.

A new format is one module with an `Exporter`, and one line here.
"""

from __future__ import annotations

from collections.abc import Iterable

from rigdata.errors import TableError
from rigdata.tables import (
    csv_table,
    data_package,
    json_table,
    matlab_table,
    modelica_table,
    parquet_table,
    workbook,
)
from rigdata.tables.exporter import Exporter

# The data package comes last: it describes the files written before it.
EXPORTERS = {
    exporter.name: exporter
    for exporter in (
        csv_table.EXPORTER,
        json_table.EXPORTER,
        workbook.EXPORTER,
        matlab_table.EXPORTER,
        modelica_table.EXPORTER,
        parquet_table.EXPORTER,
        data_package.EXPORTER,
    )
}


def chosen_exporters(extra: Iterable[str] = ()) -> tuple[Exporter, ...]:
    """Return the exporters that are always used and those named in `extra`.

    Raises
    ------
    TableError
        When a name is unknown.
    """
    wanted = set(extra)
    unknown = sorted(wanted - set(EXPORTERS))
    if unknown:
        raise TableError(
            f"table format '{unknown[0]}' is unknown", expected="one of " + ", ".join(EXPORTERS)
        )
    return tuple(e for e in EXPORTERS.values() if e.always or e.name in wanted)
