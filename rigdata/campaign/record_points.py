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
DIRECTIONS = ("up", "down")

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, eq=False)
class RecordPoints:
    """The columns of a points file.

    Attributes
    ----------
    series, direction : (n,) str
        Passage over the range, and ``up`` or ``down``.
    applied, indicated : (n,) float
        In the units that the record names.
    sha256 : str
        Hash of the file.
    """

    series: TextArray
    direction: TextArray
    applied: FloatArray
    indicated: FloatArray
    sha256: str


def read_points(path: Path) -> RecordPoints:
    """Read the points of a calibration record.

    The file is CSV with a header that names `COLUMNS` in any order; blank lines
    are skipped.

    Raises
    ------
    CampaignError
        With file and line, when a column, a cell or a number is not as it must be.
    """
    text, digest = read_text(path)
    rows = _rows(text, path)
    line, header = next(rows, (1, []))
    _check_header(header, path, line)
    columns: dict[str, list[str]] = {name: [] for name in COLUMNS}
    for line, cells in rows:
        if len(cells) != len(header):
            raise _fault(path, line, f"holds {len(cells)} cells", f"{len(header)} as the header")
        row = dict(zip(header, cells, strict=True))
        _check_row(row, path, line)
        for name, cell in row.items():
            columns[name].append(cell)
    return RecordPoints(
        series=frozen(columns["series"], np.str_),
        direction=frozen(columns["direction"], np.str_),
        applied=frozen([float(cell) for cell in columns["applied"]]),
        indicated=frozen([float(cell) for cell in columns["indicated"]]),
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
        if name not in COLUMNS:
            near = nearest(name, COLUMNS)
            do = f"Did you mean {near}?" if near else ""
            if ";" in name:
                do = "Separate the columns by commas and write numbers with a decimal point"
            raise _fault(path, line, f"unknown column '{name}'", expected, do)
    missing = [name for name in COLUMNS if name not in header]
    if missing or len(header) != len(COLUMNS):
        what = f"column {missing[0]} is missing" if missing else "a column stands twice"
        raise _fault(path, line, what, expected)


def _check_row(row: dict[str, str], path: Path, line: int) -> None:
    if row["direction"] not in DIRECTIONS:
        raise _fault(path, line, f"direction is '{row['direction']}'", "up or down")
    if not row["series"]:
        raise _fault(path, line, "series is empty", "the name or number of the passage")
    for name in ("applied", "indicated"):
        text = row[name]
        if not _NUMBER.fullmatch(text) or not np.isfinite(float(text)):
            do = "Write a decimal point" if _NUMBER.fullmatch(text.replace(",", ".")) else ""
            raise _fault(path, line, f"{name} is '{text}'", "a finite number", do)


def _fault(path: Path, line: int, what: str, expected: str = "", do: str = "") -> CampaignError:
    return CampaignError(what, where=f"{shown(path)}, line {line}", expected=expected, do=do)
