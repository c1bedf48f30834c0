"""Column names and their units, and finding the column that the rig file means."""

from __future__ import annotations

import csv
import difflib
import functools
import unicodedata
from collections.abc import Sequence

from rigdata.errors import LogError
from rigdata.quantities import canonical_unit

_BRACKETS = {"]": "[", ")": "("}
_SHOWN_NAMES = 12
WHITESPACE = " "  # as a delimiter: any run of blanks and tabs


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line without padding and quotes."""
    if '"' in line:
        mark = delimiter
        text = " ".join(line.split()) if mark == WHITESPACE else line
        try:
            cells = next(csv.reader([text], delimiter=mark, skipinitialspace=True), [])
        except csv.Error:  # a cell longer than any log has
            cells = text.split(mark)
    elif delimiter == WHITESPACE:
        cells = line.split()
    else:
        cells = line.split(delimiter)
    return [cell.strip() for cell in cells]


def split_name(title: str) -> tuple[str, str | None]:
    """Return the bare name and the unit in brackets, None without one.

    Round brackets count only around a unit that is known; a name may end in
    others.

    Examples
    --------
    >>> split_name("Torque [Nm]")
    ('Torque', 'Nm')
    >>> split_name("Load (kN)")
    ('Load', 'kN')
    >>> split_name("Load (rear)")
    ('Load (rear)', None)
    """
    close = title[-1:]
    if close not in _BRACKETS:
        return title, None
    name, opened, unit = title[:-1].rpartition(_BRACKETS[close])
    name, unit = name.rstrip(), unit.strip()
    if not opened or not name or close in unit:
        return title, None
    if close == "]":
        return name, unit or None
    return (name, unit) if canonical_unit(unit) else (title, None)


def uncommented(cells: Sequence[str]) -> list[str]:
    """Return the cells of a header row without a comment mark in front."""
    if not cells or cells[0][:1] not in ("#", "%"):
        return list(cells)
    first = cells[0][1:].strip()
    return [first, *cells[1:]] if first else list(cells[1:])


def names_in(cells: Sequence[str], n_fields: int, delimiter: str) -> tuple[str, ...]:
    """Return the column names of a header row for rows of `n_fields` fields.

    A name may hold blanks though blanks are the delimiter, when two of them or a
    unit in brackets tell the names apart; `cells` then has more parts than
    there are fields.  A leading comment mark is no name.
    """
    names = uncommented(cells)
    if delimiter == WHITESPACE and len(names) > n_fields:
        joined: list[str] = []
        for part in names:
            if part[:1] in ("[", "(") and joined:
                joined[-1] += f" {part}"
            else:
                joined.append(part)
        names = joined
    while len(names) > n_fields and not names[-1]:
        names.pop()
    return tuple(names)


def is_units_row(cells: Sequence[str], time_index: int) -> bool:
    """Tell whether the row below the names holds units.

    It does when the time's cell is a unit, or when at least half of its filled
    cells are units or stand in square brackets.
    """
    cells = uncommented(cells)
    if time_index < len(cells) and canonical_unit(cells[time_index]) in ("s", "ms"):
        return True
    filled = [cell for cell in cells if cell]
    known = [
        cell
        for cell in filled
        if canonical_unit(cell) or (cell.startswith("[") and cell.endswith("]"))
    ]
    return bool(filled) and 2 * len(known) >= len(filled)


def units_of(names: Sequence[str], row: Sequence[str]) -> tuple[str | None, ...]:
    """Return the unit of each column as the log writes it: its bracket, else its units row."""
    padded = [*row, *[""] * len(names)]
    return tuple(
        split_name(name)[1] or cell.strip().strip("[]()").strip() or None
        for name, cell in zip(names, padded, strict=False)
    )


def positions(names: Sequence[str], wanted: str) -> list[int]:
    """Return the columns that `wanted` may mean.

    The name as it stands in the log comes first, then the name without its unit
    in brackets.  Padding, doubled blanks and the Unicode form do not matter; the
    case does.
    """
    plain = [_plain(name) for name in names]
    asked = _plain(wanted)
    exact = [i for i, name in enumerate(plain) if name == asked]
    if exact:
        return exact
    bare = [i for i, name in enumerate(plain) if split_name(name)[0] == asked]
    if bare or split_name(asked)[1] is None:
        return bare
    return [i for i, name in enumerate(plain) if name == split_name(asked)[0]]


def column_index(names: Sequence[str], wanted: str, *, where: str) -> int:
    """Return the one column that `wanted` means.

    Raises
    ------
    LogError
        When there is none, with the nearest names, or more than one.
    """
    found = positions(names, wanted)
    if len(found) == 1:
        return found[0]
    if found:
        columns = ", ".join(str(i + 1) for i in found)
        titles = " and ".join(dict.fromkeys(f"'{names[i]}'" for i in found))
        raise LogError(
            f"column '{wanted}' is there {len(found)} times (columns {columns}, {titles})",
            where=where,
            expected="one column of that name",
            do="Rename the columns in the logger's setup, or name the one meant in full",
        )
    raise LogError(
        f"there is no column '{wanted}'",
        where=where,
        expected=_nearest(names, wanted),
        do="Correct the column's name in the rig file",
    )


def _nearest(names: Sequence[str], wanted: str) -> str:
    """Return the names that `wanted` may have been meant for, in words."""
    filled = list(dict.fromkeys(name for name in names if name))
    folded = {form.casefold(): name for name in filled for form in (split_name(name)[0], name)}
    close = difflib.get_close_matches(wanted.casefold(), folded, n=6, cutoff=0.5)
    near = list(dict.fromkeys(folded[form] for form in close))[:3]
    if near:
        return "perhaps " + " or ".join(f"'{name}'" for name in near)
    more = ", ..." if len(filled) > _SHOWN_NAMES else ""
    return "one of " + ", ".join(f"'{name}'" for name in filled[:_SHOWN_NAMES]) + more


@functools.lru_cache(maxsize=4096)
def _plain(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).split())
