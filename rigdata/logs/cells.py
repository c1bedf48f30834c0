"""One block of text lines to columns of numbers.

The fast way hands the block to a compiled parser.  A block that has lines of
another shape is sifted first; one with text in a wanted column goes a slower
way that tells missing, over range and faulty cells apart.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from rigdata.arrays import FloatArray, IntArray
from rigdata.errors import LogError
from rigdata.logs.block import Block, Tally
from rigdata.logs.header import WHITESPACE, split_line
from rigdata.logs.layout import Layout, Lines
from rigdata.logs.numerals import is_missing, is_number, is_overrange, missing_spellings
from rigdata.logs.rawbytes import count_of
from rigdata.logs.sifting import all_even, fields_of, line_starts, sifted

_MISSING = missing_spellings()
_SHOWN = 40  # characters of a faulty cell
_FIRST, _START = 3, 2**16  # lines, and bytes that hold them
_PADDING = " \t\v\f"  # what the parser takes for blanks


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
    even = _may_be_even(lines, layout)
    columns = _filled(lines, layout) if even else None
    if columns is None:
        even = even and all_even(lines, layout)
        columns = _fast(lines.text, lines.count, layout) if even else None
    if columns is None:
        text, numbers = sifted(lines, layout, tally)
        if numbers.size == 0:
            nothing = np.empty(0)
            return Block(nothing, dict.fromkeys(layout.columns, nothing))
        again = numbers.size < lines.count or not even  # else the fast way has failed already
        columns = _fast(text, numbers.size, layout) if again else None
        columns = columns or _slow(text, numbers, layout)
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


def _may_be_even(lines: Lines, layout: Layout) -> bool:
    """Tell whether there are as many delimiters as lines with the usual fields have in all."""
    if layout.delimiter == WHITESPACE or layout.least_fields != layout.n_fields:
        return False
    return count_of(layout.delimiter, lines.text) == lines.count * (layout.n_fields - 1)


def _filled(lines: Lines, layout: Layout) -> dict[int, FloatArray] | None:
    """Return the wanted columns where all their cells, and those of the last one, are numbers.

    No line is then short; with as many delimiters as they should have, none is long.
    """
    last = layout.n_fields - 1
    if not _starts_with_numbers(lines.text, layout):
        return None
    columns = _numbers(lines.text, {*_used(layout), last}, layout, na_filter=False)
    if columns is None or columns[last].size != lines.count or _truths(lines.text, columns):
        return None
    return columns


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
        fields = fields_of(data, line_starts(data)[0], layout.delimiter)
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
    unique = [
        (cell, bare)
        for cell in pd.unique(column)
        if not is_number(bare := cell.strip(_PADDING), layout.decimal) or "e" in bare.lower()
    ]
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
