"""The table as a MATLAB level-5 file: coefficients.mat.

``kinetic`` and ``static`` are structures with the axes and the arrays of the grid;
beside them stand flat matrices of mu over slip speed and temperature, one a pressure,
for readers that know no structures.  The file is the same to the byte whenever it is
written again.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
from scipy import io as scipy_io

from rigdata.arrays import FloatArray
from rigdata.quantities import QUANTITIES
from rigdata.storage.files import write_bytes
from rigdata.tables.exporter import Exporter
from rigdata.tables.slices import pressure_slices
from rigdata.tables.table import FIELDS, CoefficientTable

FILE = "coefficients.mat"
_HEADER = b"MATLAB 5.0 MAT-file, friction coefficients by rigdata"
_HEADER_BYTES = 116  # of text, in which SciPy puts the time of day


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write coefficients.mat."""
    content: dict[str, Any] = {"kinetic": _structure(table)}
    if table.static is not None:
        content["static"] = _structure(table.static)
    content |= {piece.name: piece.matrix for piece in pressure_slices(table)}
    held = io.BytesIO()
    scipy_io.savemat(held, content, format="5", do_compression=True, long_field_names=True)
    write_bytes(folder / FILE, _HEADER.ljust(_HEADER_BYTES) + held.getvalue()[_HEADER_BYTES:])
    return (folder / FILE,)


EXPORTER = Exporter("mat", "MATLAB level-5 file", write, always=False)


def _structure(table: CoefficientTable) -> dict[str, Any]:
    columns: dict[str, FloatArray] = {
        name: nodes.reshape(-1, 1) for name, nodes in zip(table.axis_names, table.axes, strict=True)
    }
    units = {f"{name}_unit": QUANTITIES[name].unit for name in table.axis_names}
    return {
        "material": table.material,
        "state": table.state,
        "law": table.law,
        "index_order": ", ".join(table.axis_names),
        "outside": "refuse",
        **columns,
        **units,
        **dict(zip(FIELDS, table.nodes, strict=True)),
        "inside_envelope": np.array(table.inside_envelope),
    }
