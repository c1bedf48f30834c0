"""How a text log is written, found from its first lines.

Everything that the rig file states is taken as stated; the rest is detected.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs.header import (
    WHITESPACE,
    column_index,
    is_units_row,
    names_in,
    positions,
    split_line,
    split_name,
    units_of,
)
from rigdata.logs.numerals import decimal_mark, is_number
from rigdata.logs.rawbytes import head_of, text_encoding
from rigdata.quantities import canonical_unit

DELIMITERS = (",", ";", "\t", "|", WHITESPACE)
_HEAD_SIZES = (2**18, 2**21, 2**23)  # bytes; more only while no data are found
_LOOKED_AT = 2000  # data lines
_BELOW_NAMES = 60  # lines in which data must follow the names
_USUAL = 0.05  # share of lines that makes a number of fields a usual one
_SEP_LINE = re.compile(r'"?sep=(.)"?\s*', re.IGNORECASE)


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


@dataclass(frozen=True)
class _Header:
    """A line that may hold the names, read with one delimiter."""

    line: int  # counted from 0
    delimiter: str
    names: tuple[str, ...]
    n_fields: int
    time_index: int
    sound: int  # data lines below with that many fields and a number as time
    matched: int  # wanted columns among the names

    @property
    def rank(self) -> tuple[bool, int, int, int, int]:
        """Names above data come first, then the line with most wanted columns, the first one."""
        return self.sound > 0, self.matched, -self.line, self.sound, self.n_fields


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


def _detect(
    head: bytes, complete: bool, settings: LogSettings, wanted: Sequence[str], where: str
) -> Dialect:
    encoding = text_encoding(head, complete=complete, stated=settings.encoding, where=where)
    text = head.decode(encoding, errors="replace").lstrip("\ufeff").replace("\0", "")
    line_end = "\r\n" if "\r\n" in text else "\n" if "\n" in text else "\r"
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(lines) > 1:
        lines.pop()  # empty, or a line that may go on or was cut
    header = _find_header(lines, settings, wanted, where)
    mark, names, n_names = header.delimiter, header.names, len(header.names)
    below = list(_filled(lines, header.line + 1, mark))
    at = next(k for k, (_, cells) in enumerate(below) if _has_time(cells, header.time_index))
    first = below[at][0]
    rows = below[at : at + _LOOKED_AT]
    data = [cells for _, cells in rows if _has_time(cells, header.time_index)]
    usual = Counter(len(cells) for cells in data)
    most_usual = usual.most_common(1)[0][1]
    sizes = [n for n, count in usual.items() if count >= min(_USUAL * len(data), most_usual)]
    indices = [column_index(names, name, where=where) for name in (*wanted,)]
    _refuse_nameless(header, data, lines[header.line], where)
    units_line = _units_line(lines, below[:at], header, settings, where)
    units_row = split_line(lines[units_line - 1], mark) if units_line else []
    units = units_of(names, units_row)
    time_unit, remarks = _time_unit(names[header.time_index], units[header.time_index], where)
    passed = [number + 1 for number, _ in below[:at] if number + 1 != units_line]
    if passed:
        shown_lines = ", ".join(str(number) for number in passed)
        remarks += (f"line {shown_lines} between the column names and the data was passed over",)
    return Dialect(
        encoding=encoding,
        line_end=line_end,
        delimiter=mark,
        decimal=settings.decimal or _decimal(data, [header.time_index, *indices], where),
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
    )


def _find_header(
    lines: Sequence[str], settings: LogSettings, wanted: Sequence[str], where: str
) -> _Header:
    """Return the line of names under the delimiter that fits the data best."""
    stated = settings.delimiter or _sep_line(lines)
    delimiters = (stated,) if stated else DELIMITERS
    if settings.skip_lines is not None:
        if settings.skip_lines >= len(lines):
            raise LogError(
                f"has only {len(lines)} lines",
                where=where,
                expected=f"column names after {settings.skip_lines} lines",
                do="Correct skip_lines in the rig file",
            )
        candidates = [settings.skip_lines]
    else:
        bare = split_name(settings.time_column)[0].split()[0]
        candidates = [i for i, line in enumerate(lines) if bare in line]
    headers = [
        header
        for i in candidates
        for mark in delimiters
        if (header := _header(lines, i, mark, settings.time_column, wanted))
    ]
    best = max(headers, key=lambda header: header.rank, default=None)
    if best is None or best.sound == 0:
        raise _no_header(lines, best, candidates, delimiters, settings, where)
    column_index(best.names, settings.time_column, where=f"{where}, line {best.line + 1}")
    return best


def _header(
    lines: Sequence[str], line: int, mark: str, time_column: str, wanted: Sequence[str]
) -> _Header | None:
    """Return the line as names, None when the time's column is not among them."""
    cells = split_line(lines[line], mark)
    if mark != WHITESPACE and not positions(names_in(cells, len(cells), mark), time_column):
        return None
    rows: list[list[str]] = []
    for _, row in _filled(lines, line + 1, mark, most=_BELOW_NAMES):
        if row == cells or (not rows and positions(row, time_column)):
            break
        if _is_data(row):
            rows.append(row)
    sizes = Counter(len(row) for row in rows)
    n_fields = sizes.most_common(1)[0][0] if sizes else len(cells)
    names = names_in(cells, n_fields, mark)
    found = positions(names, time_column)
    if not found or (sizes and n_fields < 2):
        return None
    sound = sum(len(row) == n_fields and _has_time(row, found[0]) for row in rows)
    matched = sum(bool(positions(names, name)) for name in wanted)
    return _Header(line, mark, names, n_fields, found[0], sound, matched)


def _filled(
    lines: Sequence[str], start: int, mark: str, most: int = _LOOKED_AT + _BELOW_NAMES
) -> Iterator[tuple[int, list[str]]]:
    """Yield number (from 0) and cells of the filled lines from `start` on."""
    for number in range(start, len(lines)):
        if lines[number].strip():
            yield number, split_line(lines[number], mark)
            most -= 1
            if most == 0:
                return


def _is_data(cells: Sequence[str]) -> bool:
    filled = [cell for cell in cells if cell]
    return bool(filled) and 2 * sum(is_number(cell) for cell in filled) >= len(filled)


def _has_time(cells: Sequence[str], time_index: int) -> bool:
    return time_index < len(cells) and is_number(cells[time_index])


def _sep_line(lines: Sequence[str]) -> str | None:
    """Return the delimiter that a ``sep=;`` line in front states."""
    found = next((m for line in lines[:3] if (m := _SEP_LINE.fullmatch(line))), None)
    return found[1] if found and found[1] in DELIMITERS else None


def _units_line(
    lines: Sequence[str],
    between: Sequence[tuple[int, list[str]]],
    header: _Header,
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


def _refuse_nameless(header: _Header, data: Sequence[Sequence[str]], line: str, where: str) -> None:
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


def _time_unit(name: str, unit: str | None, where: str) -> tuple[str, tuple[str, ...]]:
    """Return the unit of the time, and what was taken by default."""
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


def _no_header(
    lines: Sequence[str],
    best: _Header | None,
    candidates: Sequence[int],
    delimiters: Sequence[str],
    settings: LogSettings,
    where: str,
) -> LogError:
    """Return the error for a log in which names and data do not come together."""
    if best is not None:
        for number, cells in _filled(lines, best.line + 1, best.delimiter):
            time = cells[best.time_index] if best.time_index < len(cells) else ""
            if time and not is_units_row(cells, best.time_index):
                return LogError(
                    f"the time '{time}' is not a number",
                    where=f"{where}, line {number + 1}, column '{settings.time_column}'",
                    expected="elapsed time in seconds or milliseconds",
                    do="Export elapsed time instead of the time of day",
                )
        return LogError(
            "the log holds no data lines",
            where=where,
            expected=f"lines of numbers below line {best.line + 1}",
            do="Copy it from the logger again",
        )
    likely = candidates if settings.skip_lines is not None else range(len(lines))
    for i in likely:
        for mark in delimiters:
            names = split_line(lines[i], mark)
            after = next((cells for _, cells in _filled(lines, i + 1, mark)), [])
            is_names = len(names) > 1 and len(names) <= len(after) + 1 and not _is_data(names)
            if settings.skip_lines is not None or (is_names and _is_data(after)):
                try:
                    column_index(names, settings.time_column, where=f"{where}, line {i + 1}")
                except LogError as error:
                    return error
    return LogError(
        f"there is no line of column names with '{settings.time_column}' above lines of numbers",
        where=where,
        expected="delimited text with a line of column names",
        do="Correct time_column in the rig file, or export the log as delimited text",
    )
