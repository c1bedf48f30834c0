"""The points of a calibration record, read from CSV with the line of every fault."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.arrays import FloatArray, TextArray, frozen
from rigdata.campaign.csv_file import fault_in_line, number_in, read_csv_file

COLUMNS = ("series", "direction", "applied", "indicated")
OPTIONAL = ("u_applied", "mounting")
DIRECTIONS = ("up", "down")


@dataclass(frozen=True, eq=False)
class RecordPoints:
    """The columns of a points file.

    Attributes
    ----------
    series, direction : (n,) str
        Passage over the range, and ``up`` or ``down``.
    applied, indicated : (n,) float
        In the units that the record names.
    u_applied : (n,) float or None
        Standard uncertainty of each applied value that it shares with no other
        point, in the unit of the applied values; None without that column.
    mounting : (n,) str or None
        How the sensor sat in the calibration machine, such as ``0``, ``120``
        and ``240``; None without that column.
    sha256 : str
        Hash of the file.
    """

    series: TextArray
    direction: TextArray
    applied: FloatArray
    indicated: FloatArray
    u_applied: FloatArray | None
    mounting: TextArray | None
    sha256: str


def read_points(path: Path) -> RecordPoints:
    """Read the points of a calibration record.

    The file is CSV with a header that names `COLUMNS`, and any of `OPTIONAL`, in
    any order; blank lines are skipped.

    Raises
    ------
    CampaignError
        With file and line, when a column, a cell or a number is not as it must be.
    """
    file = read_csv_file(path, COLUMNS, OPTIONAL)
    for row, line in zip(file.rows, file.lines, strict=True):
        _check_row(row, path, line)

    def numbers(name: str) -> FloatArray:
        return frozen([float(cell) for cell in file.column(name)])

    return RecordPoints(
        series=frozen(file.column("series"), np.str_),
        direction=frozen(file.column("direction"), np.str_),
        applied=numbers("applied"),
        indicated=numbers("indicated"),
        u_applied=numbers("u_applied") if "u_applied" in file.columns else None,
        mounting=frozen(file.column("mounting"), np.str_) if "mounting" in file.columns else None,
        sha256=file.sha256,
    )


def _check_row(row: dict[str, str], path: Path, line: int) -> None:
    if row["direction"] not in DIRECTIONS:
        raise fault_in_line(path, line, f"direction is '{row['direction']}'", "up or down")
    for name, words in (
        ("series", "the name or number of the passage"),
        ("mounting", "how the sensor sat in the machine"),
    ):
        if not row.get(name, "-"):
            raise fault_in_line(path, line, f"{name} is empty", words)
    for name in ("applied", "indicated", "u_applied"):
        number = number_in(path, line, name, row.get(name, "1"))
        if name == "u_applied" and number <= 0.0:
            raise fault_in_line(path, line, f"{name} is '{row[name]}'", "a number above 0")
