"""Stamps in a block of lines, overwritten by elapsed seconds.

The seconds take the very bytes of the stamp, zeros in front, so that all that
comes after sees a log with elapsed seconds: same lines, same fields.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from rigdata.arrays import BoolArray, IntArray
from rigdata.logs.header import WHITESPACE
from rigdata.logs.stamps import (
    DAY_S,
    LONGEST_STAMP,
    SHORTEST_STAMP,
    Bytes,
    Clock,
    Form,
    digits,
    form_of,
)

_BLANKS = (ord(" "), ord("\t"))
_QUOTE, _ZERO, _NINE, _MINUS, _NEWLINE = b'"09-\n'


class ElapsedTime:
    """Writes elapsed seconds over the stamps of a log, block by block.

    A clock without a date that goes back by more than 12 h has passed midnight.
    A cell that is no stamp stays as it is.

    Parameters
    ----------
    clock : Clock
        How the stamps are written.
    delimiter, decimal : str
        As in `Dialect`.
    index : int
        Column of the time, counted from 0.
    """

    def __init__(self, clock: Clock, delimiter: str, decimal: str, index: int) -> None:
        self._clock, self._delimiter, self._index = clock, delimiter, index
        self._mark = ord(decimal)
        self._last, self._days = clock.origin_s, 0

    def overwritten(self, text: bytes) -> bytes:
        """Return the lines of a block with seconds in place of stamps."""
        data = np.frombuffer(text, np.uint8).copy()
        starts, ends = self._cells(data)
        groups = list(_groups(data, starts, ends - starts))
        seconds = np.zeros(starts.size, np.int64)
        known = np.zeros(starts.size, np.bool_)
        for form, rows, cells in groups:
            seconds[rows], known[rows] = self._clock.whole_seconds(cells, form)
        if not self._clock.dated:
            seconds[known] += DAY_S * self._midnights(seconds[known])
        seconds -= self._clock.origin_s
        for form, rows, cells in groups:
            sound = known[rows]
            written = _written(cells[:, sound], form, seconds[rows][sound], self._mark)
            _windows(data, len(cells))[starts[rows][sound]] = written.T
        return data.tobytes()

    def _midnights(self, clock_s: IntArray) -> IntArray:
        """Return how many midnights lie before each of the next times of day."""
        steps = np.diff(clock_s, prepend=self._last)
        passed = (steps < -DAY_S // 2).astype(np.int64) - (steps > DAY_S // 2)
        days = self._days + np.cumsum(passed)
        if days.size:
            self._last, self._days = int(clock_s[-1]), int(days[-1])
        return days

    def _cells(self, data: Bytes) -> tuple[IntArray, IntArray]:
        """Return where the time of each line starts and ends, blanks and quotes off."""
        lines = np.flatnonzero(data == _NEWLINE)
        if self._delimiter == WHITESPACE:
            edges = np.flatnonzero(np.diff(data > _BLANKS[0], prepend=False, append=False))
            first, last = edges[::2], edges[1::2]
            bounds = np.searchsorted(first, np.concatenate(([0], lines)))
            at = bounds[:-1] + self._index
            at = at[at < bounds[1:]]
            starts, ends = first[at], last[at]
        else:
            marks = np.flatnonzero((data == ord(self._delimiter)) | (data == _NEWLINE))
            marks = marks[~_quoted(data, marks, lines)]
            own = np.searchsorted(marks, lines)  # the line feed among the marks
            before = np.concatenate(([-1], own[:-1])) + self._index
            there = before < own
            at = before[there] + 1
            starts, ends = np.concatenate(([-1], marks))[at] + 1, marks[at]
        return _bare(data, starts, ends)


def _quoted(data: Bytes, marks: IntArray, lines: IntArray) -> BoolArray:
    """Return which delimiters stand between quotation marks; a lone one in a line is text."""
    quotes = data == _QUOTE
    if not quotes.any():
        return np.zeros(marks.size, np.bool_)
    count = np.cumsum(quotes)
    at_ends = np.concatenate(([0], count[lines]))
    paired = np.diff(at_ends) % 2 == 0
    line = np.searchsorted(lines, marks)
    inside = (count[marks] - at_ends[line]) % 2 == 1
    return np.asarray(inside & paired[line])


def _bare(data: Bytes, starts: IntArray, ends: IntArray) -> tuple[IntArray, IntArray]:
    """Move both ends inward over blanks and one pair of quotation marks."""
    starts, ends = starts.copy(), ends.copy()
    for unwanted in (_BLANKS, (_QUOTE,), _BLANKS):
        while (off := (starts < ends) & np.isin(data[starts], unwanted)).any():
            starts[off] += 1
        while (off := (starts < ends) & np.isin(data[ends - 1], unwanted)).any():
            ends[off] -= 1
    return starts, ends


def _windows(data: Bytes, width: int) -> Bytes:
    return sliding_window_view(data, width, writeable=True)


def _groups(
    data: Bytes, starts: IntArray, widths: IntArray
) -> Iterator[tuple[Form, IntArray, Bytes]]:
    """Yield the forms of stamps that occur, each with its rows and its cells, one a column."""
    for width in np.unique(widths):
        if not SHORTEST_STAMP <= width <= LONGEST_STAMP:
            continue
        rows = np.flatnonzero(widths == width)
        cells = np.ascontiguousarray(_windows(data, width)[starts[rows]].T)
        shapes = np.where((cells >= _ZERO) & (cells <= _NINE), np.uint8(_ZERO), cells)
        if (shapes == shapes[:, :1]).all():
            texts, which = shapes[:, :1], np.zeros(rows.size, np.int64)
        else:
            texts, which = np.unique(shapes, axis=1, return_inverse=True)
        for number, text in enumerate(texts.T):
            form = form_of(text.tobytes().decode("latin-1"))
            if form is not None:
                own = which == number
                yield form, rows[own], cells[:, own]


def _written(cells: Bytes, form: Form, seconds: IntArray, mark: int) -> Bytes:
    """Return stamps with the digits of the elapsed seconds in their place."""
    width = len(cells)
    start, stop = form.fraction or (width + 1, width + 1)
    below = digits(cells, start, stop) if form.fraction else 0
    amount = 10 ** (stop - start) * seconds + below
    places = [*range(min(start - 1, width)), *range(start, stop)]
    rest = np.abs(amount)
    out = np.full_like(cells, _ZERO)
    for place in reversed(places):
        if not rest.any():
            break
        out[place] += (rest % 10).astype(np.uint8)
        rest //= 10
    if form.fraction:
        out[start - 1] = mark
    out[0, amount < 0] = _MINUS
    fits = (rest == 0) & ((amount >= 0) | (np.abs(amount) < 10 ** (len(places) - 1)))
    return np.where(fits, out, cells)
