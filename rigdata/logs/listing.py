"""What the columns of a text log are: their names, units, and whether they hold numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs.block import Listed
from rigdata.logs.header import is_units_row, names_in, split_line, split_name, units_of
from rigdata.logs.names_line import DELIMITERS, is_data, sep_line
from rigdata.logs.numerals import is_missing, is_number, is_overrange
from rigdata.logs.stamps import is_stamp
from rigdata.quantities import canonical_unit

_LOOKED_AT = 200  # data lines
_ENOUGH = 40
_ABOVE = 6  # lines above the data in which the names must stand
_TIME_WORDS = re.compile(
    r"time|timestamp|datetime|elapsed|clock|zeit|zeitstempel|uhrzeit|temps|tiempo|tempo"
)
_TIME_SYMBOLS = ("t", "s", "sec", "secs", "seconds", "ms")


@dataclass(frozen=True)
class Table:
    """Data lines and the line of names above them.

    Attributes
    ----------
    names_line : int
        Line of the names, counted from 0.
    delimiter : str
        As in `Dialect`.
    names, units : tuple
        Name and unit (None when not stated) of each column.
    rows : list of list of str
        Cells of the first data lines.
    """

    names_line: int
    delimiter: str
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    rows: list[list[str]]

    @property
    def rank(self) -> int:
        """How much speaks for it: the more cells the better."""
        return min(len(self.rows), _ENOUGH) * len(self.names)


def table_in(lines: Sequence[str], settings: LogSettings | None, *, where: str) -> Table:
    """Find names and data without knowing any name.

    Raises
    ------
    LogError
        When there are none.
    """
    stated = (settings.delimiter if settings else None) or sep_line(lines)
    found = [
        table for mark in ((stated,) if stated else DELIMITERS) for table in _tables(lines, mark)
    ]
    if not found:
        raise LogError(
            "there is no line of column names above lines of numbers",
            where=where,
            expected="delimited text with a line of column names",
            do="Export the log as delimited text with the names of its columns",
        )
    return max(found, key=lambda table: table.rank)


def time_in(names: Sequence[str], units: Sequence[str | None], rows: Sequence[list[str]]) -> int:
    """Return the column that is plainly the time, -1 when none is.

    It is called a time or is in s or ms, and holds rising numbers or time stamps; the
    first such column that is called a time, with numbers before stamps.
    """
    rising = [i for i in range(len(names)) if _rises([row[i] for row in rows if i < len(row)])]
    stamps = [i for i in range(len(names)) if all(is_stamp(row[i]) for row in rows if i < len(row))]
    named = [i for i, name in enumerate(names) if is_time_name(name)]
    timed = [i for i, unit in enumerate(units) if unit and canonical_unit(unit) in ("s", "ms")]
    for choice in (named, timed):
        for kind in (rising, stamps):
            both = [i for i in choice if i in kind]
            if both:
                return both[0]
    return stamps[0] if len(stamps) == 1 else -1


def is_time_name(name: str) -> bool:
    """Tell whether a name says that its column holds the time.

    Examples
    --------
    >>> [is_time_name(name) for name in ("Time [s]", "elapsed_ms", "t", "Torque")]
    [True, True, True, False]
    """
    bare = split_name(name)[0].casefold()
    words = re.findall(r"[^\W\d_]+", bare)
    return bare in _TIME_SYMBOLS or any(_TIME_WORDS.fullmatch(word) for word in words)


def listed(
    names: Sequence[str], units: Sequence[str | None], rows: Sequence[Sequence[str]]
) -> tuple[Listed, ...]:
    """Return the columns, and whether their first cells are numbers."""
    return tuple(
        Listed(name, unit, all(_is_numeric(row[i]) for row in rows if i < len(row)))
        for i, (name, unit) in enumerate(zip(names, units, strict=True))
        if name
    )


def _is_numeric(cell: str) -> bool:
    return is_number(cell) or is_missing(cell) or is_overrange(cell)


def _rises(cells: Sequence[str]) -> bool:
    if len(cells) < 2 or not all(is_number(cell) for cell in cells):
        return False
    values = [float(cell.replace(",", ".")) for cell in cells]
    up = sum(after > before for before, after in pairwise(values))
    return 2 * up >= len(values) - 1 and values[-1] > values[0]


def _tables(lines: Sequence[str], mark: str) -> list[Table]:
    """Return the runs of data lines of one length that have names above them."""
    found: list[Table] = []
    above: list[tuple[int, list[str]]] = []
    rows: list[list[str]] = []
    for number, line in enumerate(lines):
        if not line.strip():
            continue
        cells = split_line(line, mark)
        if len(cells) > 1 and is_data(cells):
            if rows and len(cells) != len(rows[0]):
                rows = []
            rows.append(cells)
            if len(rows) == 1:
                table = _named(above, rows, mark)
                found += [table] if table else []
            elif len(rows) >= _LOOKED_AT:
                break
        else:
            rows = []
            above = [*above[1 - _ABOVE :], (number, cells)]
    return found


def _named(
    above: Sequence[tuple[int, list[str]]], rows: list[list[str]], mark: str
) -> Table | None:
    """Return the data with the nearest line above that can hold their names."""
    n_fields = len(rows[0])
    units: list[str] = []
    for number, cells in reversed(above):
        names = names_in(cells, n_fields, mark)
        if is_units_row(cells, n_fields) and not units:
            units = cells
            continue
        trailing = n_fields - len(names)
        if len(names) > n_fields or (trailing and any(rows[0][len(names) :])):
            continue
        if sum(1 for name in names if name) >= 2:
            return Table(number, mark, names, units_of(names, units), rows)
    return None
