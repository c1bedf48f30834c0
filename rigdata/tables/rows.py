"""The nodes of a table as rows, one a condition, slip speed slowest."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigdata.quantities import QUANTITIES
from rigdata.tables.table import FIELDS, CoefficientTable

INSIDE = "inside_envelope"


def column_names(table: CoefficientTable) -> tuple[str, ...]:
    """Return the names of the columns."""
    return (*table.axis_names, *FIELDS, INSIDE)


def unit_of(column: str) -> str:
    """Return the unit of a column, 1 for coefficients."""
    return QUANTITIES[column].unit if column in QUANTITIES and column != "mu" else "1"


def rows_of(table: CoefficientTable) -> dict[str, NDArray[Any]]:
    """Return the columns by name; NaN where only one pack was tested."""
    mesh = np.meshgrid(*table.axes, indexing="ij")
    values = (*mesh, *table.nodes, table.inside_envelope)
    return {
        name: np.asarray(grid).ravel()
        for name, grid in zip(column_names(table), values, strict=True)
    }
