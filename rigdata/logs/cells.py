"""One block of text lines to columns of numbers.

The fast way hands the block to a compiled parser.  A block that has lines of
another shape is sifted first; one with text in a wanted column goes a slower
way that tells missing, over range and faulty cells apart.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from rigdata.arrays import FloatArray, IntArray
from rigdata.errors import LogError
from rigdata.logs.block import Block, Loss, Tally
from rigdata.logs.header import WHITESPACE, split_line
from rigdata.logs.numerals import is_missing, is_number, is_overrange, missing_spellings
from rigdata.logs.rawbytes import count_of

_MISSING = missing_spellings()
_NEWLINE, _BLANK, _LAST_DIGIT, _EXPONENT = b"\n 9e"
_QUOTE = b'"'
_SHOWN = 40  # characters of a faulty cell
_FIRST, _START = 3, 2**16  # lines, and bytes that hold them
_PADDING = " \t\v\f"  # what the parser takes for blanks
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


@dataclass(frozen=True)
class Lines:
    """Successive whole lines of a log.

    Attributes
    ----------
    text : bytes
        The lines, each with a line feed at its end.
    first : int
        Number in the file of the first of them.
    count : int
        How many they are.
    """

    text: bytes
    first: int
    count: int


def parse(lines: Lines, layout: Layout, tally: Tally) -> Block:
    """Return the rows of one block.

    Parameters
    ----------
    lines : Lines
        The block.
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
    columns = _even(lines, layout)
    if columns is None:
        text, numbers = _sifted(lines, layout, tally)
        if numbers.size == 0:
            nothing = np.empty(0)
            return Block(nothing, dict.fromkeys(layout.columns, nothing))
        columns = _fast(text, numbers.size, layout) or _slow(text, numbers, layout)
    time = columns[layout.time_index]
    return Block(
        time if layout.time_factor == 1.0 else time * layout.time_factor,
        {key: columns[index] for key, index in layout.columns.items()},
    )


class _Bytes:
    """A file for the parser that hands over bytes as they are, without decoding them.

    It hands over all of them at once, whatever is asked for: the parser then makes
    room once instead of doubling it, which takes a quarter of its time.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data

    def read(self, _size: int = -1) -> bytes:
        data, self._data = self._data, b""
        return data

    def __iter__(self) -> Iterator[bytes]:
        return iter(())


def _even(lines: Lines, layout: Layout) -> dict[int, FloatArray] | None:
    """Return the wanted columns of lines that surely have the usual number of fields each.

    None where one may have another, or where the parser meets text.
    """
    text, n = lines.text, layout.n_fields
    if layout.delimiter == WHITESPACE or layout.least_fields != n:
        return None
    if count_of(layout.delimiter, text) != lines.count * (n - 1):
        return None
    if _starts_with_numbers(text, layout):
        # No line is short when all have a number in their last field, and so none is long.
        columns = _numbers(text, {*_used(layout), n - 1}, layout, na_filter=False)
        if columns and columns[n - 1].size == lines.count and not _truths(text, columns):
            return columns
    data = np.frombuffer(text, np.uint8)
    marks = np.flatnonzero((data == ord(layout.delimiter)) | (data == _NEWLINE))
    return _fast(text, lines.count, layout) if (data[marks[n - 1 :: n]] == _NEWLINE).all() else None


def _starts_with_numbers(text: bytes, layout: Layout) -> bool:
    """Tell whether the first lines hold numbers: then it pays to look for nothing else at first."""
    wanted = (*_used(layout), layout.n_fields - 1)
    for line in text[:_START].decode("latin-1").split("\n")[:_FIRST]:
        cells = split_line(line, layout.delimiter)
        sound = len(cells) == layout.n_fields
        if not sound or not all(is_number(cells[i], layout.decimal) for i in wanted):
            return False
    return True


def _fast(text: bytes, count: int, layout: Layout) -> dict[int, FloatArray] | None:
    """Return the wanted columns, None when the parser meets text or loses a line."""
    columns = _numbers(text, _used(layout), layout, na_values=_MISSING)
    if columns is None or columns[layout.time_index].size != count or _truths(text, columns):
        return None
    return columns


def _numbers(
    text: bytes, used: Collection[int], layout: Layout, **how: Any
) -> dict[int, FloatArray] | None:
    try:
        return _parsed(text, layout, used, dtype=np.float64, **how)
    except (ValueError, pd.errors.ParserError):
        return None


def _truths(text: bytes, columns: Mapping[int, FloatArray]) -> bool:
    """Tell whether words of truth may stand in a column: the parser takes them for 0 and 1."""
    binary = any(_is_binary(column[:64]) for column in columns.values())
    return binary and any(word in text for word in (b"rue", b"RUE", b"alse", b"ALSE"))


def _is_binary(column: FloatArray) -> bool:
    return bool((np.isnan(column) | (column == 0.0) | (column == 1.0)).all())


def _slow(text: bytes, lines: IntArray, layout: Layout) -> dict[int, FloatArray]:
    """Return the wanted columns, every cell that is no number accounted for."""
    text = text.decode(layout.encoding, "replace").encode()
    quoting = csv.QUOTE_MINIMAL
    columns = _guessed(text, layout, quoting)
    if columns is None or columns[layout.time_index].size != lines.size:
        # A lone quotation mark swallowed lines: take the marks for text, if that shifts nothing.
        quoting = csv.QUOTE_NONE
        data = np.frombuffer(text, np.uint8)
        fields = _fields(data, _line_starts(data)[0], layout.delimiter)
        columns = _guessed(text, layout, quoting) if (fields <= layout.n_fields).all() else None
    if columns is None or columns[layout.time_index].size != lines.size:
        raise LogError(
            f"lines {lines[0]} to {lines[-1]} cannot be told apart",
            where=layout.where,
            do="Look for quotation marks or other stray characters there",
        )
    textual = [index for index, column in columns.items() if column.dtype.kind not in "fiu"]
    cells = _parsed(text, layout, textual, dtype=object, na_filter=False, quoting=quoting)
    no_numbers: dict[int, list[str]] = dict.fromkeys(columns, _MISSING)
    for index in textual:
        odd, beyond = _told_apart(cells[index], index, lines, layout)
        no_numbers[index] = odd
        cells[index] = np.isin(cells[index], beyond)
    how = {"dtype": np.float64, "na_values": no_numbers, "quoting": quoting}
    numbers = _parsed(text, layout, _used(layout), **how)
    return numbers | {index: np.where(cells[index], np.inf, numbers[index]) for index in textual}


def _told_apart(
    column: Any, index: int, lines: IntArray, layout: Layout
) -> tuple[list[str], list[str]]:
    """Return the cells of a column that are no numbers, and those of them over range."""
    unique = [(cell, cell.strip(_PADDING)) for cell in pd.unique(column)]
    beyond = [cell for cell, bare in unique if is_overrange(bare)]
    missing = [cell for cell, bare in unique if is_missing(bare)]
    known = {*beyond, *missing}
    for cell, bare in unique:
        if not is_number(bare, layout.decimal) and cell not in known:
            raise _bad_cell(bare, int(lines[np.flatnonzero(column == cell)[0]]), index, layout)
    return [*beyond, *missing, ""], beyond


def _guessed(text: bytes, layout: Layout, quoting: int) -> dict[int, Any] | None:
    """Return the wanted columns in the types that the parser finds, None when it fails."""
    try:
        return _parsed(text, layout, _used(layout), na_values=_MISSING, quoting=quoting)
    except pd.errors.ParserError:
        return None


def _used(layout: Layout) -> set[int]:
    return {layout.time_index, *layout.columns.values()}


def _parsed(text: bytes, layout: Layout, used: Collection[int], **how: Any) -> dict[int, Any]:
    """Return columns by position, as the parser reads them."""
    uneven = layout.least_fields != layout.n_fields
    if uneven:  # the parser wants a line with all the fields that it is told of
        text = layout.delimiter.join("0" * layout.n_fields).encode() + b"\n" + text
    frame = pd.read_csv(
        _Bytes(text),  # type: ignore[call-overload]
        sep=r"\s+" if layout.delimiter == WHITESPACE else layout.delimiter,
        decimal=layout.decimal,
        header=None,
        names=list(range(layout.n_fields)),
        usecols=sorted(used),
        index_col=False,
        keep_default_na=False,
        skipinitialspace=layout.padded,
        low_memory=False,
        encoding_errors="replace",
        engine="c",
        **how,
    )
    return {index: frame[index].to_numpy()[int(uneven) :] for index in used}


def _sifted(lines: Lines, layout: Layout, tally: Tally) -> tuple[bytes, IntArray]:
    """Return the sound lines of a block and their numbers; the others are counted."""
    text = lines.text
    data = np.frombuffer(text, np.uint8)
    starts, ends = _line_starts(data)
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
    numbers = lines.first + np.arange(ends.size)
    for loss, lost in ((Loss.HEADER, again), (Loss.FIELDS, filled & ~keep & ~again)):
        places = [f"line {number}" for number in numbers[lost][:5]]
        tally.add(loss, int(np.count_nonzero(lost)), places)
    if not keep.all():
        text = b"".join(text[starts[i] : ends[i] + 1] for i in np.flatnonzero(keep))
    return text, numbers[keep]


def _line_starts(data: Any) -> tuple[IntArray, IntArray]:
    """Return where the lines start and where their line feeds are."""
    ends = np.flatnonzero(data == _NEWLINE)
    return np.concatenate(([0], ends[:-1] + 1)), ends


def _fields(data: Any, starts: IntArray, delimiter: str) -> IntArray:
    """Return the number of fields of each line, quotes not looked at."""
    if delimiter == WHITESPACE:
        inside = data > _BLANK
        begins = inside.copy()
        begins[1:] &= ~inside[:-1]
        return np.asarray(np.add.reduceat(begins, starts, dtype=np.int64))
    return np.asarray(np.add.reduceat(data == ord(delimiter), starts, dtype=np.int64) + 1)


def _bad_cell(cell: str, line: int, index: int, layout: Layout) -> LogError:
    shown_cell = cell[:_SHOWN] if cell[:_SHOWN].isprintable() else ascii(cell[:_SHOWN])[1:-1]
    expected = f"a number with the decimal mark '{layout.decimal}'"
    do = "Correct the line, or take it out"
    if is_number(cell):
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
