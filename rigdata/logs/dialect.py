"""How a text log is written, found from its first lines.

Everything that the rig file states is taken as stated; the rest is detected.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs.header import (
    column_index,
    is_units_row,
    split_line,
    uncommented,
    units_of,
)
from rigdata.logs.names_line import DATA_LINES, Header, filled_lines, find_header, has_time
from rigdata.logs.numerals import decimal_mark
from rigdata.logs.rawbytes import head_of, text_encoding
from rigdata.logs.stamps import Clock, find_clock
from rigdata.quantities import canonical_unit

_HEAD_SIZES = (2**18, 2**21, 2**23)  # bytes; more only while no data are found
_USUAL = 0.05  # share of lines that makes a number of fields a usual one


@dataclass(frozen=True)
class Dialect:
    r"""How a text log is written.

    Attributes
    ----------
    encoding : str
        Name of the text encoding.
    line_end : str
        ``\n``, ``\r\n`` or ``\r``.
    delimiter : str
        One character; a blank stands for any run of blanks and tabs.
    decimal : str
        ``.`` or ``,``.
    names, units : tuple
        Name and unit (None when not stated) of each column, as written.
    names_line, units_line, first_line : int
        Lines of the names, the units (0 when there is no such line) and the
        first data, counted from 1.
    n_fields, least_fields : int
        Most and fewest fields of a sound data line.
    padded : bool
        Blanks follow the delimiter.
    time_index : int
        Column of the time, counted from 0.
    time_unit : str
        ``s`` or ``ms``.
    preamble : tuple of str
        The filled lines before the data, stripped.
    remarks : tuple of str
        Defaults taken and lines passed over, in words.
    clock : Clock or None
        How the time stamps are written; None where the time is a number.
    """

    encoding: str
    line_end: str
    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    names_line: int
    units_line: int
    first_line: int
    n_fields: int
    least_fields: int
    padded: bool
    time_index: int
    time_unit: str
    preamble: tuple[str, ...]
    remarks: tuple[str, ...]
    clock: Clock | None = None


def detect(path: Path, settings: LogSettings, wanted: Sequence[str]) -> Dialect:
    """Find out how the log is written from its first lines.

    Parameters
    ----------
    path : Path
        The log, or the log compressed with gzip.
    settings : LogSettings
        What the rig file states; the rest is detected.
    wanted : sequence of str
        Columns that will be read, besides the time.

    Raises
    ------
    LogError
        When the log is empty or no text, holds no data lines, lacks a column or
        has it twice, or when its decimal mark is in doubt.
    """
    where = shown(path)
    for size in _HEAD_SIZES:
        head, complete = head_of(path, size)
        try:
            return _detect(head, complete, settings, wanted, where)
        except LogError:
            if complete or size == _HEAD_SIZES[-1]:
                raise
    raise AssertionError


@dataclass(frozen=True)
class TextLines:
    """The lines at the start of a log, and how its text is written."""

    encoding: str
    line_end: str
    lines: list[str]


def lines_of(head: bytes, encoding: str | None, *, complete: bool, where: str) -> TextLines:
    """Return the whole lines of the first bytes of a log.

    Raises
    ------
    LogError
        When the log is empty or no text.
    """
    found = text_encoding(head, complete=complete, stated=encoding, where=where)
    text = head.decode(found, errors="replace").lstrip("\ufeff").replace("\0", "")
    line_end = "\r\n" if "\r\n" in text else "\n" if "\n" in text else "\r"
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(lines) > 1:
        lines.pop()  # empty, or a line that may go on or was cut
    return TextLines(found, line_end, lines)


def _detect(
    head: bytes, complete: bool, settings: LogSettings, wanted: Sequence[str], where: str
) -> Dialect:
    text = lines_of(head, settings.encoding, complete=complete, where=where)
    lines = text.lines
    header = find_header(lines, settings, wanted, where)
    mark, names, n_names = header.delimiter, header.names, len(header.names)
    below = list(filled_lines(lines, header.line + 1, mark))
    at = next(k for k, (_, cells) in enumerate(below) if has_time(cells, header.time_index))
    first = below[at][0]
    rows = below[at : at + DATA_LINES]
    data = [cells for _, cells in rows if has_time(cells, header.time_index)]
    usual = Counter(len(cells) for cells in data)
    most_usual = usual.most_common(1)[0][1]
    sizes = [n for n, count in usual.items() if count >= min(_USUAL * len(data), most_usual)]
    indices = [column_index(names, name, where=where) for name in (*wanted,)]
    _refuse_nameless(header, data, lines[header.line], where)
    units_line = _units_line(lines, below[:at], header, settings, where)
    units_row = uncommented(split_line(lines[units_line - 1], mark)) if units_line else []
    units = units_of(names, units_row)
    time_name = names[header.time_index]
    place = f"{where}, line {first + 1}, column '{time_name}'"
    clock = find_clock([row[header.time_index] for row in data], settings.date_order, where=place)
    if clock is None:
        time_unit, remarks = unit_of_time(time_name, units[header.time_index], where)
        with_marks = [header.time_index, *indices]
    else:
        time_unit, remarks, with_marks = "s", (_clock_words(time_name, clock),), indices
    passed = [number + 1 for number, _ in below[:at] if number + 1 != units_line]
    if passed:
        shown_lines = ", ".join(str(number) for number in passed)
        remarks += (f"line {shown_lines} between the column names and the data was passed over",)
    return Dialect(
        encoding=text.encoding,
        line_end=text.line_end,
        delimiter=mark,
        decimal=settings.decimal or _decimal(data, with_marks, where),
        names=names,
        units=units,
        names_line=header.line + 1,
        units_line=units_line,
        first_line=first + 1,
        n_fields=max(*sizes, n_names),
        least_fields=min(sizes),
        padded=any(f"{mark} " in lines[number] for number, _ in rows),
        time_index=header.time_index,
        time_unit=time_unit,
        preamble=tuple(line.strip() for line in lines[:first] if line.strip()),
        remarks=remarks,
        clock=clock,
    )


def _clock_words(name: str, clock: Clock) -> str:
    """Say how the time stamps are taken."""
    words = f"column '{name}' holds stamps ({clock.words}): time 0 is the second of the first one"
    if clock.zoned or not clock.dated:
        return words
    return words + "; a change to or from daylight saving time in mid log would show as a jump"


def _units_line(
    lines: Sequence[str],
    between: Sequence[tuple[int, list[str]]],
    header: Header,
    settings: LogSettings,
    where: str,
) -> int:
    """Return the line of the units row, counted from 1, 0 when there is none."""
    stated = settings.units_line
    if stated is None:
        rows = (number + 1 for number, cells in between if is_units_row(cells, header.time_index))
        return next(rows, 0)
    if stated > len(lines) or stated == header.line + 1:
        raise LogError(
            f"line {stated} is no row of units",
            where=where,
            expected=f"units_line other than {header.line + 1}, where the names are",
            do="Correct units_line in the rig file",
        )
    return stated


def _refuse_nameless(header: Header, data: Sequence[Sequence[str]], line: str, where: str) -> None:
    """Raise when data lines hold more values than there are names."""
    n = len(header.names)
    over = [cells for cells in data if any(cells[n:])]
    if len(over) < _USUAL * len(data):
        return
    expected, do = f"a name for each value, below '{line.strip()[:60]}'", ""
    if header.delimiter == ",":
        do = "If the comma is the decimal mark too, export with another delimiter"
    raise LogError(
        f"data lines hold {len(over[0])} values and the line of names {n}",
        where=f"{where}, line {header.line + 1}",
        expected=expected,
        do=do or "Export the log with a name for every column",
    )


def _decimal(data: Sequence[Sequence[str]], indices: Sequence[int], where: str) -> str:
    columns = [[cells[i] for cells in data if i < len(cells)] for i in dict.fromkeys(indices)]
    try:
        return decimal_mark(columns)
    except ValueError as doubt:
        raise LogError(
            f"the decimal mark is in doubt: {doubt}",
            where=where,
            expected="one decimal mark and no mark between thousands",
            do="Export without marks between thousands, or state decimal in [log] of the rig file",
        ) from None


def unit_of_time(name: str, unit: str | None, where: str) -> tuple[str, tuple[str, ...]]:
    """Return the unit of the time, s or ms, and what was taken by default.

    Raises
    ------
    LogError
        When it is in another unit.
    """
    if unit is not None:
        known = canonical_unit(unit)
        if known in ("s", "ms"):
            return known, ()
        raise LogError(
            f"the time is in '{unit}'",
            where=f"{where}, column '{name}'",
            expected="elapsed time in s or ms",
            do="Export the elapsed time in seconds",
        )
    for ending, known in (("_ms", "ms"), ("_s", "s")):
        if name.casefold().endswith(ending):
            return known, ()
    return "s", (f"column '{name}' states no unit: taken as seconds",)
