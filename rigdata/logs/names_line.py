"""The line of column names: found together with the delimiter, by the data below it."""

from __future__ import annotations

import functools
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

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
)
from rigdata.logs.numerals import is_number
from rigdata.logs.stamps import is_stamp

DELIMITERS = (",", ";", "\t", "|", WHITESPACE)
DATA_LINES = 2000  # looked at, at most
_BELOW_NAMES = 60  # lines in which data must follow the names
_SEP_LINE = re.compile(r'"?sep=(.)"?\s*', re.IGNORECASE)


@dataclass(frozen=True)
class Header:
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


def find_header(
    lines: Sequence[str], settings: LogSettings, wanted: Sequence[str], where: str
) -> Header:
    """Return the line of names under the delimiter that fits the data best."""
    stated = settings.delimiter or sep_line(lines)
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
        for mark in delimiters
        for header in _headers(lines, candidates, mark, settings.time_column, wanted)
    ]
    best = max(headers, key=lambda header: header.rank, default=None)
    if best is None or best.sound == 0:
        raise _no_header(lines, best, candidates, delimiters, settings, where)
    column_index(best.names, settings.time_column, where=f"{where}, line {best.line + 1}")
    return best


class _Row:
    """The cells of one line, looked at once though many lines above may be its names."""

    def __init__(self, line: str, mark: str, time_column: str) -> None:
        self.cells = split_line(line, mark)
        self._time_column = time_column

    @functools.cached_property
    def is_data(self) -> bool:
        """Whether at least half of its filled cells are numbers or time stamps."""
        return is_data(self.cells)

    @functools.cached_property
    def names_time(self) -> bool:
        """Whether it names the time's column, as the names again do."""
        return bool(positions(self.cells, self._time_column))


def _headers(
    lines: Sequence[str],
    candidates: Sequence[int],
    mark: str,
    time_column: str,
    wanted: Sequence[str],
) -> Iterator[Header]:
    """Yield the lines that may hold the names under one delimiter."""

    @functools.lru_cache(maxsize=2 * _BELOW_NAMES)
    def row(number: int) -> _Row:
        return _Row(lines[number], mark, time_column)

    for i in candidates:
        below = (row(number) for number in _filled(lines, i + 1, _BELOW_NAMES))
        header = _header(row(i).cells, below, i, mark, time_column, wanted)
        if header is not None:
            yield header


def _header(
    cells: list[str],
    below: Iterator[_Row],
    line: int,
    mark: str,
    time_column: str,
    wanted: Sequence[str],
) -> Header | None:
    """Return a line as names, None when the time's column is not among them."""
    if mark != WHITESPACE and not positions(names_in(cells, len(cells), mark), time_column):
        return None
    rows: list[list[str]] = []
    for row in below:
        if row.cells == cells or (not rows and row.names_time):
            break
        if row.is_data:
            rows.append(row.cells)
    sizes = Counter(len(row) for row in rows)
    n_fields = sizes.most_common(1)[0][0] if sizes else len(cells)
    names = names_in(cells, n_fields, mark)
    found = positions(names, time_column)
    if not found or (sizes and n_fields < 2):
        return None
    sound = sum(len(row) == n_fields and has_time(row, found[0]) for row in rows)
    matched = sum(bool(positions(names, name)) for name in wanted)
    return Header(line, mark, names, n_fields, found[0], sound, matched)


def filled_lines(lines: Sequence[str], start: int, mark: str) -> Iterator[tuple[int, list[str]]]:
    """Yield number (from 0) and cells of the filled lines from `start` on."""
    for number in _filled(lines, start, DATA_LINES + _BELOW_NAMES):
        yield number, split_line(lines[number], mark)


def _filled(lines: Sequence[str], start: int, most: int) -> Iterator[int]:
    """Return the numbers (from 0) of the filled lines from `start` on, at most so many."""
    filled = (number for number in range(start, len(lines)) if lines[number].strip())
    return itertools.islice(filled, most)


def is_data(cells: Sequence[str]) -> bool:
    """Tell whether at least half of the filled cells are numbers or time stamps."""
    filled = [cell for cell in cells if cell]
    numbers = sum(is_number(cell) or is_stamp(cell) for cell in filled)
    return bool(filled) and 2 * numbers >= len(filled)


def has_time(cells: Sequence[str], time_index: int) -> bool:
    """Tell whether the cells of a line hold a number or a time stamp as the time."""
    if time_index >= len(cells):
        return False
    return is_number(cells[time_index]) or is_stamp(cells[time_index])


def sep_line(lines: Sequence[str]) -> str | None:
    """Return the delimiter that a ``sep=;`` line in front states."""
    found = next((m for line in lines[:3] if (m := _SEP_LINE.fullmatch(line))), None)
    return found[1] if found and found[1] in DELIMITERS else None


def _no_header(
    lines: Sequence[str],
    best: Header | None,
    candidates: Sequence[int],
    delimiters: Sequence[str],
    settings: LogSettings,
    where: str,
) -> LogError:
    """Return the error for a log in which names and data do not come together."""
    if best is not None:
        for number, cells in filled_lines(lines, best.line + 1, best.delimiter):
            time = cells[best.time_index] if best.time_index < len(cells) else ""
            if time and not is_units_row(cells, best.time_index):
                return LogError(
                    f"the time '{time}' is neither a number nor a time stamp",
                    where=f"{where}, line {number + 1}, column '{settings.time_column}'",
                    expected="seconds, milliseconds, or stamps such as 2026-03-04T10:15:00.125",
                    do="Export the elapsed time in seconds",
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
            after = next((cells for _, cells in filled_lines(lines, i + 1, mark)), [])
            is_names = len(names) > 1 and len(names) <= len(after) + 1 and not is_data(names)
            if settings.skip_lines is not None or (is_names and is_data(after)):
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
