"""One block of text lines to columns of numbers.

The fast way hands the block to a compiled parser.  A block that has lines of
another shape is sifted first; one with text in a wanted column goes a slower
way that tells missing, over range and faulty cells apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from rigdata.arrays import FloatArray, IntArray
from rigdata.errors import LogError
from rigdata.logs.block import Block, Loss, Tally
from rigdata.logs.header import WHITESPACE, split_line
from rigdata.logs.numerals import is_missing, is_number, is_overrange, missing_spellings

_MISSING = missing_spellings()
_NEWLINE, _BLANK, _LAST_DIGIT, _EXPONENT = b"\n 9e"
_QUOTE = b'"'
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Layout:
    """What to take from the lines of a log.

    Attributes
    ----------
    where : str
        The file, for messages.
    encoding : str
        Encoding of the blocks.
    delimiter, decimal : str
        As in `Dialect`.
    n_fields, least_fields : int
        Most and fewest fields of a sound line.
    padded : bool
        Blanks follow the delimiter.
    time_index : int
        Column of the time, counted from 0.
    time_factor : float
        Seconds in the unit of the time.
    columns : mapping of str to int
        Column of each wanted key.
    names : tuple of str
        Column names, for messages.
    known : frozenset of bytes
        Stripped lines of the header, which may come again.
    """

    where: str
    encoding: str
    delimiter: str
    decimal: str
    n_fields: int
    least_fields: int
    padded: bool
    time_index: int
    time_factor: float
    columns: Mapping[str, int]
    names: tuple[str, ...]
    known: frozenset[bytes]


def parse(text: bytes, first_line: int, layout: Layout, tally: Tally) -> Block:
    """Return the rows of one block of whole lines.

    Parameters
    ----------
    text : bytes
        Lines that end in a line feed each.
    first_line : int
        Number in the file of the first of them.
    layout : Layout
        What to take from them.
    tally : Tally
        Counts the lines left out.

    Raises
    ------
    LogError
        When a wanted cell is neither a number nor one of the texts of
        `rigdata.logs.numerals`.
    """
    count = text.count(b"\n")
    columns = _fast(text, count, layout) if _is_even(text, count, layout) else None
    if columns is None:
        text, lines = _sifted(text, first_line, layout, tally)
        if lines.size == 0:
            nothing = np.empty(0)
            return Block(nothing, dict.fromkeys(layout.columns, nothing))
        columns = _fast(text, lines.size, layout) or _slow(text, lines, layout)
    time = columns[layout.time_index]
    return Block(
        time if layout.time_factor == 1.0 else time * layout.time_factor,
        {key: columns[index] for key, index in layout.columns.items()},
    )


class _Bytes:
    """A file for the parser that hands over bytes as they are, without decoding them."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def read(self, size: int = -1) -> bytes:
        end = len(self._data) if size < 0 else self._at + size
        part = self._data[self._at : end]
        self._at += len(part)
        return part

    def __iter__(self) -> Iterator[bytes]:
        return iter(())


def _is_even(text: bytes, count: int, layout: Layout) -> bool:
    """Tell whether the lines surely have the usual number of fields each, in all."""
    if layout.delimiter == WHITESPACE or layout.least_fields != layout.n_fields:
        return False
    return text.count(layout.delimiter.encode()) == count * (layout.n_fields - 1)


def _fast(text: bytes, count: int, layout: Layout) -> dict[int, FloatArray] | None:
    """Return the wanted columns, None when the parser meets text or loses a line."""
    try:
        columns = _parsed(text, layout, dtype=np.float64, na_values=_MISSING)
    except (ValueError, pd.errors.ParserError):
        return None
    return columns if columns[layout.time_index].size == count else None


def _slow(text: bytes, lines: IntArray, layout: Layout) -> dict[int, FloatArray]:
    """Return the wanted columns, every cell that is no number accounted for."""
    text = text.decode(layout.encoding, "replace").encode()
    quoting = 0
    cells = _texts(text, layout, quoting)
    if cells is None or cells[layout.time_index].size != lines.size:
        quoting = 3  # a lone quote swallowed lines: take quotes for text
        cells = _texts(text, layout, quoting)
    if cells is None or cells[layout.time_index].size != lines.size:
        raise LogError(
            f"lines {lines[0]} to {lines[-1]} cannot be told apart",
            where=layout.where,
            do="Look for quotation marks or other stray characters there",
        )
    others: dict[int, list[str]] = {}
    over: dict[int, Any] = {}
    for index, column in cells.items():
        unique = pd.unique(column)
        beyond = [cell for cell in unique if is_overrange(cell.strip())]
        odd = [cell for cell in unique if not is_number(cell.strip(), layout.decimal)]
        for cell in odd:
            if not is_missing(cell.strip()) and cell not in beyond:
                line = int(lines[np.flatnonzero(column == cell)[0]])
                raise _bad_cell(cell, line, index, layout)
        others[index] = [*odd, *beyond, ""]
        over[index] = np.isin(column, beyond) if beyond else None
    try:
        numbers = _parsed(text, layout, dtype=np.float64, na_values=others, quoting=quoting)
    except ValueError as error:
        raise LogError(
            str(error), where=f"{layout.where}, lines {lines[0]} to {lines[-1]}"
        ) from error
    for index, mask in over.items():
        if mask is not None:
            numbers[index] = np.where(mask, np.inf, numbers[index])
    return numbers


def _texts(text: bytes, layout: Layout, quoting: int) -> dict[int, Any] | None:
    try:
        return _parsed(text, layout, dtype=object, na_filter=False, quoting=quoting)
    except pd.errors.ParserError:
        return None


def _parsed(text: bytes, layout: Layout, **how: Any) -> dict[int, Any]:
    """Return the wanted columns by position, as the parser reads them."""
    used = sorted({layout.time_index, *layout.columns.values()})
    uneven = layout.least_fields != layout.n_fields
    if uneven:  # the parser wants a line with all the fields that it is told of
        text = layout.delimiter.join("0" * layout.n_fields).encode() + b"\n" + text
    frame = pd.read_csv(
        _Bytes(text),  # type: ignore[call-overload]
        sep=r"\s+" if layout.delimiter == WHITESPACE else layout.delimiter,
        decimal=layout.decimal,
        header=None,
        names=list(range(layout.n_fields)),
        usecols=used,
        index_col=False,
        keep_default_na=False,
        skipinitialspace=layout.padded,
        low_memory=False,
        encoding_errors="replace",
        engine="c",
        **how,
    )
    return {index: frame[index].to_numpy()[int(uneven) :] for index in used}


def _sifted(text: bytes, first_line: int, layout: Layout, tally: Tally) -> tuple[bytes, IntArray]:
    """Return the sound lines of a block and their numbers; the others are counted."""
    data = np.frombuffer(text, np.uint8)
    ends = np.flatnonzero(data == _NEWLINE)
    starts = np.concatenate(([0], ends[:-1] + 1))
    filled = np.add.reduceat(data > _BLANK, starts, dtype=np.int64) > 0
    fields = _fields(data, starts, layout.delimiter)
    keep = filled & (fields >= layout.least_fields) & (fields <= layout.n_fields)
    # Lines with letters may be a header again; delimiters in quotes are none.
    letters = (data > _LAST_DIGIT) & ((data | 32) != _EXPONENT)
    doubtful = filled & (~keep | np.logical_or.reduceat(letters, starts) | (_QUOTE in text))
    again = np.zeros(ends.size, np.bool_)
    for i in np.flatnonzero(doubtful):
        line = text[starts[i] : ends[i]]
        if line.removeprefix(_BOM).strip() in layout.known:
            again[i], keep[i] = True, False
        elif _QUOTE in line:
            cells = split_line(line.decode(layout.encoding, "replace"), layout.delimiter)
            keep[i] = layout.least_fields <= len(cells) <= layout.n_fields
    numbers = first_line + np.arange(ends.size)
    for loss, lost in ((Loss.HEADER, again), (Loss.FIELDS, filled & ~keep & ~again)):
        places = [f"line {number}" for number in numbers[lost][:5]]
        tally.add(loss, int(np.count_nonzero(lost)), places)
    if not keep.all():
        text = b"".join(text[starts[i] : ends[i] + 1] for i in np.flatnonzero(keep))
    return text, numbers[keep]


def _fields(data: Any, starts: IntArray, delimiter: str) -> IntArray:
    """Return the number of fields of each line, quotes not looked at."""
    if delimiter == WHITESPACE:
        inside = data > _BLANK
        begins = inside.copy()
        begins[1:] &= ~inside[:-1]
        return np.asarray(np.add.reduceat(begins, starts, dtype=np.int64))
    return np.asarray(np.add.reduceat(data == ord(delimiter), starts, dtype=np.int64) + 1)


def _bad_cell(cell: str, line: int, index: int, layout: Layout) -> LogError:
    shown_cell = cell.strip()
    expected = f"a number with the decimal mark '{layout.decimal}'"
    do = "Correct the line, or take it out"
    if is_number(shown_cell):
        do = "State decimal in [log] of the rig file, or export with one decimal mark"
    elif index == layout.time_index:
        expected += ", the elapsed time"
    name = layout.names[index] if index < len(layout.names) else str(index + 1)
    return LogError(
        f"'{shown_cell}' is not a number",
        where=f"{layout.where}, line {line}, column '{name}'",
        expected=expected,
        do=do,
    )
