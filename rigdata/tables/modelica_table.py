"""The table as text for the table blocks of the Modelica Standard Library: coefficients.txt.

One matrix of mu over slip speed and temperature for each pressure (for the block of
two inputs), and the fields over slip speed at the reference condition (for that of
one).  The blocks draw lines on beyond the last point unless told otherwise, which is
not what was tested: the file says so.
"""

from __future__ import annotations

from pathlib import Path

from rigdata.storage.files import write_text
from rigdata.tables.exporter import Exporter
from rigdata.tables.slices import Slice, breakaway_slice, pressure_slices, speed_line
from rigdata.tables.table import CoefficientTable

FILE = "coefficients.txt"
_LIMITS = (
    "Set extrapolation = Modelica.Blocks.Types.Extrapolation.NoExtrapolation (or HoldLastPoint):",
    "the default draws the last line on beyond what was tested.",
)


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write coefficients.txt."""
    slices = [*pressure_slices(table)]
    if table.slip_speed_m_s.size > 1:
        slices.append(speed_line(table))
    if table.static is not None:
        slices.append(breakaway_slice(table.static))
    head = [
        "#1",
        f"# Friction coefficients of {_plain(table.material)}, {_plain(table.state)}",
        *(f"# {line}" for line in _LIMITS),
    ]
    write_text(folder / FILE, "\n".join([*head, *(_text(one) for one in slices)]))
    return (folder / FILE,)


EXPORTER = Exporter("modelica", "text for Modelica table blocks", write, always=False)


def _text(one: Slice) -> str:
    rows, columns = one.matrix.shape
    lines = [" ".join(map(repr, row)) for row in one.matrix.tolist()]
    return "\n".join([f"# {one.words}", f"double {one.name}({rows},{columns})", *lines, ""])


def _plain(text: str) -> str:
    """Return text without line ends, which would end a comment."""
    return " ".join(text.split())
