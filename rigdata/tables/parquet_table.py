"""The rows of the table as Parquet, with units in its schema: coefficients.parquet.

Needs pyarrow, which the extra ``parquet`` brings.
"""

from __future__ import annotations

import io
from pathlib import Path

from rigdata.errors import TableError
from rigdata.extras import wanted_package
from rigdata.storage.files import write_bytes
from rigdata.tables.exporter import Exporter
from rigdata.tables.rows import rows_of, unit_of
from rigdata.tables.table import CoefficientTable

KINETIC = "coefficients.parquet"
STATIC = "static.parquet"


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write coefficients.parquet, and static.parquet where breakaway was tested.

    Raises
    ------
    TableError
        When pyarrow is not installed.
    """
    arrow, parquet = (
        wanted_package(name, "parquet", TableError) for name in ("pyarrow", "pyarrow.parquet")
    )
    written = []
    for name, own in ((KINETIC, table), (STATIC, table.static)):
        if own is None:
            continue
        columns = rows_of(own)
        fields = [
            arrow.field(
                column,
                arrow.bool_() if column == "inside_envelope" else arrow.float64(),
                metadata={"unit": unit_of(column)},
            )
            for column in columns
        ]
        about = {"material": own.material, "state": own.state, "kind": own.kind, "law": own.law}
        schema = arrow.schema(fields, metadata=about)
        arrays = [
            arrow.array(values, from_pandas=True)  # NaN becomes null
            for values in columns.values()
        ]
        held = io.BytesIO()
        parquet.write_table(arrow.Table.from_arrays(arrays, schema=schema), held)
        write_bytes(folder / name, held.getvalue())
        written.append(folder / name)
    return tuple(written)


EXPORTER = Exporter("parquet", "Parquet, with pyarrow", write, always=False)
