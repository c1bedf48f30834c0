"""The sound lines of a block told from those of another shape."""

from __future__ import annotations

from typing import Any

import numpy as np

from rigdata.arrays import IntArray
from rigdata.logs.block import Loss, Tally
from rigdata.logs.header import WHITESPACE, split_line
from rigdata.logs.layout import Layout, Lines

_NEWLINE, _BLANK, _LAST_DIGIT, _EXPONENT = b"\n 9e"
_QUOTE = b'"'
_BOM = b"\xef\xbb\xbf"


def all_even(lines: Lines, layout: Layout) -> bool:
    """Tell whether every line has all the fields, given as many delimiters in all."""
    data = np.frombuffer(lines.text, np.uint8)
    marks = np.flatnonzero((data == ord(layout.delimiter)) | (data == _NEWLINE))
    return bool((data[marks[layout.n_fields - 1 :: layout.n_fields]] == _NEWLINE).all())


def sifted(lines: Lines, layout: Layout, tally: Tally) -> tuple[bytes, IntArray]:
    """Return the sound lines of a block and their numbers; the others are counted.

    A sound line has the usual number of fields, and is no line of the header again.
    """
    text = lines.text
    data = np.frombuffer(text, np.uint8)
    starts, ends = line_starts(data)
    filled = np.add.reduceat(data > _BLANK, starts, dtype=np.int64) > 0
    fields = fields_of(data, starts, layout.delimiter)
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


def line_starts(data: Any) -> tuple[IntArray, IntArray]:
    """Return where the lines start and where their line feeds are."""
    ends = np.flatnonzero(data == _NEWLINE)
    return np.concatenate(([0], ends[:-1] + 1)), ends


def fields_of(data: Any, starts: IntArray, delimiter: str) -> IntArray:
    """Return the number of fields of each line, quotes not looked at."""
    if delimiter == WHITESPACE:
        inside = data > _BLANK
        begins = inside.copy()
        begins[1:] &= ~inside[:-1]
        return np.asarray(np.add.reduceat(begins, starts, dtype=np.int64))
    return np.asarray(np.add.reduceat(data == ord(delimiter), starts, dtype=np.int64) + 1)
