"""The points of a calibration record, read from CSV with the line of every fault."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.arrays import FloatArray, TextArray, frozen
from rigdata.campaign.files import read_text, shown
from rigdata.campaign.reading import nearest
from rigdata.errors import CampaignError

COLUMNS = ("series", "direction", "applied", "indicated")
OPTIONAL = ("u_applied", "mounting")
DIRECTIONS = ("up", "down")
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


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
    text, digest = read_text(path)
    rows = _rows(text, path)
    line, header = next(rows, (1, []))
    _check_header(header, path, line)
    columns: dict[str, list[str]] = {name: [] for name in header}
    for line, cells in rows:
        if len(cells) != len(header):
            raise _fault(path, line, f"holds {len(cells)} cells", f"{len(header)} as the header")
        row = dict(zip(header, cells, strict=True))
        _check_row(row, path, line)
        for name, cell in row.items():
            columns[name].append(cell)
    spread, mounting = columns.get("u_applied"), columns.get("mounting")
    return RecordPoints(
        series=frozen(columns["series"], np.str_),
        direction=frozen(columns["direction"], np.str_),
        applied=frozen([float(cell) for cell in columns["applied"]]),
        indicated=frozen([float(cell) for cell in columns["indicated"]]),
        u_applied=frozen([float(cell) for cell in spread]) if spread is not None else None,
        mounting=frozen(mounting, np.str_) if mounting is not None else None,
        sha256=digest,
    )


def _rows(text: str, path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield the line number and the trimmed cells of each row that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for cells in reader:
            trimmed = [cell.strip() for cell in cells]
            if any(trimmed):
                yield reader.line_num, trimmed
    except csv.Error as error:
        raise _fault(path, reader.line_num, f"is not CSV: {error}") from None


def _check_header(header: list[str], path: Path, line: int) -> None:
    expected = "the columns " + ",".join(COLUMNS)
    for name in header:
        if name not in (*COLUMNS, *OPTIONAL):
            near = nearest(name, (*COLUMNS, *OPTIONAL))
            do = f"Did you mean {near}?" if near else ""
            if ";" in name:
                do = "Separate the columns by commas and write numbers with a decimal point"
            raise _fault(path, line, f"unknown column '{name}'", expected, do)
    missing = [name for name in COLUMNS if name not in header]
    if missing or len(header) != len(set(header)):
        what = f"column {missing[0]} is missing" if missing else "a column stands twice"
        raise _fault(path, line, what, expected)


def _check_row(row: dict[str, str], path: Path, line: int) -> None:
    if row["direction"] not in DIRECTIONS:
        raise _fault(path, line, f"direction is '{row['direction']}'", "up or down")
    for name, words in (
        ("series", "the name or number of the passage"),
        ("mounting", "how the sensor sat in the machine"),
    ):
        if not row.get(name, "-"):
            raise _fault(path, line, f"{name} is empty", words)
    for name in ("applied", "indicated", "u_applied"):
        text = row.get(name, "1")
        if not NUMBER.fullmatch(text) or not np.isfinite(float(text)):
            do = "Write a decimal point" if NUMBER.fullmatch(text.replace(",", ".")) else ""
            raise _fault(path, line, f"{name} is '{text}'", "a finite number", do)
    if float(row.get("u_applied", "1")) <= 0.0:
        raise _fault(path, line, f"u_applied is '{row['u_applied']}'", "a number above 0")


def _fault(path: Path, line: int, what: str, expected: str = "", do: str = "") -> CampaignError:
    return CampaignError(what, where=f"{shown(path)}, line {line}", expected=expected, do=do)
