"""Hand-made CSV files of a campaign: named columns, and the line of every fault."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rigdata.campaign.files import read_text, shown
from rigdata.campaign.reading import nearest
from rigdata.errors import CampaignError

LONGEST_CELL = 1000  # a column of text takes as much for each row as for its longest
NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_BEYOND_REASON = 1e100  # in whatever unit: squares of such numbers overflow


@dataclass(frozen=True)
class CsvFile:
    """The cells of a file, blank lines left out.

    Attributes
    ----------
    path : Path
    columns : tuple of str
        Names in the header, in its order.
    rows : tuple of dict of str to str
        Trimmed cells of each row by column.
    lines : tuple of int
        Line of each row in the file.
    sha256 : str
        Hash of the file.
    """

    path: Path
    columns: tuple[str, ...]
    rows: tuple[dict[str, str], ...]
    lines: tuple[int, ...]
    sha256: str

    def column(self, name: str) -> list[str]:
        """Return the cells of one column."""
        return [row[name] for row in self.rows]


def read_csv_file(path: Path, required: Sequence[str], optional: Sequence[str] = ()) -> CsvFile:
    """Read a CSV file whose header names columns in any order.

    Raises
    ------
    CampaignError
        With file and line: when the file is not CSV, a column is unknown, missing
        or stands twice, or a row has more or fewer cells than the header.
    """
    text, digest = read_text(path)
    found = _rows(text, path)
    line, header = next(found, (1, []))
    _check_header(header, required, optional, path, line)
    rows, lines = [], []
    for line, cells in found:
        if len(cells) != len(header):
            what = f"holds {len(cells)} cells"
            raise fault_in_line(path, line, what, f"{len(header)} as the header")
        long = next((name for name, cell in zip(header, cells, strict=True)
                     if len(cell) > LONGEST_CELL), None)  # fmt: skip
        if long is not None:
            what, most = f"{long} is a long text", f"at most {LONGEST_CELL} characters"
            raise fault_in_line(path, line, what, most)
        rows.append(dict(zip(header, cells, strict=True)))
        lines.append(line)
    return CsvFile(path, tuple(header), tuple(rows), tuple(lines), digest)


def number_in(path: Path, line: int, name: str, text: str) -> float:
    """Return the number that a cell holds.

    Raises
    ------
    CampaignError
        When it is not a finite number with a decimal point.
    """
    if not is_usable(text):
        comma = "," in text and NUMBER.fullmatch(text.replace(",", "."))
        do = "Write a decimal point" if comma else ""
        raise fault_in_line(path, line, f"{name} is '{text}'", "a finite number", do)
    return float(text)


def is_usable(text: str) -> bool:
    """Tell whether a text is a number with a decimal point, of a size that can be reckoned with."""
    return bool(NUMBER.fullmatch(text)) and abs(float(text)) < _BEYOND_REASON


def fault_in_line(
    path: Path, line: int, what: str, expected: str = "", do: str = ""
) -> CampaignError:
    """Return the error for something wrong in a line of a file."""
    return CampaignError(what, where=f"{shown(path)}, line {line}", expected=expected, do=do)


def _rows(text: str, path: Path) -> Iterator[tuple[int, list[str]]]:
    """Yield the line number and the trimmed cells of each row that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for cells in reader:
            trimmed = [cell.strip() for cell in cells]
            if any(trimmed):
                yield reader.line_num, trimmed
    except csv.Error as error:
        raise fault_in_line(path, reader.line_num, f"is not CSV: {error}") from None


def _check_header(
    header: list[str], required: Sequence[str], optional: Sequence[str], path: Path, line: int
) -> None:
    expected = "the columns " + ",".join(required)
    known = (*required, *optional)
    for name in header:
        if name not in known:
            near = nearest(name, known)
            do = f"Did you mean {near}?" if near else ""
            if ";" in name:
                do = "Separate the columns by commas and write numbers with a decimal point"
            raise fault_in_line(path, line, f"unknown column '{name}'", expected, do)
    missing = [name for name in required if name not in header]
    if missing or len(header) != len(set(header)):
        what = f"column {missing[0]} is missing" if missing else "a column stands twice"
        raise fault_in_line(path, line, what, expected)
