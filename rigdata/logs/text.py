"""Delimited text, read in blocks of whole lines.

Memory does not grow with the log: a block is read, brought to plain lines,
parsed and handed over before the next one.
"""

from __future__ import annotations

import codecs
from collections.abc import Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import replace
from pathlib import Path

from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError, Notice, Severity
from rigdata.logs.ahead import in_order
from rigdata.logs.block import Block, Listed, Loss, Tally
from rigdata.logs.cells import parse
from rigdata.logs.dialect import Dialect, detect
from rigdata.logs.elapsed import ElapsedTime
from rigdata.logs.header import column_index, split_line
from rigdata.logs.layout import Layout, Lines
from rigdata.logs.listing import listed
from rigdata.logs.numerals import is_number
from rigdata.logs.rawbytes import count_of, is_wide, pieces, tail_of
from rigdata.logs.sentinels import missing_values, without_sentinels
from rigdata.logs.stamps import DAY_S
from rigdata.quantities import UNITS

LONGEST_LINE = 2**20  # bytes
_TAIL = 2**16
_HEAD_LINES = 500
_TAIL_LINES = 50


class TextLog:
    """A delimited text log ready to be read; an `OpenLog`.

    Parameters
    ----------
    path : Path
        The log, or the log compressed with gzip.
    settings : LogSettings
        What the rig file says about its dialect.
    columns : mapping of str to str
        Wanted column for each key.
    block_bytes : int
        Size of a block of raw bytes.

    Raises
    ------
    LogError
        When the dialect cannot be found or a column is not there.
    """

    def __init__(
        self, path: Path, settings: LogSettings, columns: Mapping[str, str], block_bytes: int
    ) -> None:
        self._path = path
        self._where = shown(path)
        self._block_bytes = block_bytes
        self.dialect: Dialect = detect(path, settings, tuple(columns.values()))
        dialect = self.dialect
        indices = {
            key: column_index(dialect.names, name, where=self._where)
            for key, name in columns.items()
        }
        self.units: Mapping[str, str | None] = {k: dialect.units[i] for k, i in indices.items()}
        self.notices = tuple(
            Notice(Severity.NOTE, self._where, remark) for remark in dialect.remarks
        )
        self._missing = missing_values(settings)
        self._wide = is_wide(dialect.encoding)
        encoding = "utf-8" if self._wide else dialect.encoding.removesuffix("-sig")
        self._layout = Layout(
            where=self._where,
            encoding=encoding,
            delimiter=dialect.delimiter,
            decimal=dialect.decimal,
            n_fields=dialect.n_fields,
            least_fields=dialect.least_fields,
            padded=dialect.padded,
            time_index=dialect.time_index,
            time_factor=UNITS[dialect.time_unit].factor,
            columns=indices,
            names=dialect.names,
            known=frozenset(line.encode(encoding, "replace") for line in dialect.preamble),
        )

    @property
    def listing(self) -> tuple[Listed, ...]:
        """The columns, and whether the first data lines hold numbers in them."""
        found = self.dialect
        rows = []
        for part in self._lines(Tally()):
            lines = part.text.decode(self._layout.encoding, "replace").split("\n")
            rows = [split_line(line, found.delimiter) for line in lines[:_HEAD_LINES] if line]
            break
        sound = [row for row in rows if found.least_fields <= len(row) <= found.n_fields]
        return listed(found.names, found.units, sound)

    def blocks(self, tally: Tally, pool: Executor | None = None) -> Iterator[Block]:
        """Yield all rows in order; what is left out is counted in `tally`."""
        for block, lost in in_order(self._parsed, self._timed(tally), pool):
            tally.take(lost)
            if block.time_s.size:
                yield block

    def _timed(self, tally: Tally) -> Iterator[Lines]:
        """Yield the data as lines with elapsed time."""
        found, clock = self.dialect, self.dialect.clock
        if clock is None:
            yield from self._lines(tally)
            return
        times = ElapsedTime(clock, found.delimiter, found.decimal, found.time_index)
        for lines in self._lines(tally):
            yield replace(lines, text=times.overwritten(lines.text))

    def _parsed(self, lines: Lines) -> tuple[Block, Tally]:
        """Return the rows of one block of lines, and what of it is left out."""
        lost = Tally()
        return without_sentinels(parse(lines, self._layout, lost), self._missing, lost), lost

    def extent(self) -> tuple[float | None, int]:
        """Return the time in the last whole line, and roughly the number of rows."""
        tail, total = tail_of(self._path, _TAIL)
        if self._wide:
            even = tail[(len(tail) - total) % 4 :]
            text = even.decode(self._tail_encoding(), errors="replace")
        else:
            text = tail.decode("latin-1")
        lines = text.replace("\0", "").replace("\r", "\n").split("\n")
        filled = [line for line in lines[1:-1] if line.strip()]
        per_line = len(tail) / max(1, len(filled))
        index = self.dialect.time_index
        for line in reversed(filled[-_TAIL_LINES:]):
            cells = split_line(line, self.dialect.delimiter)
            if self.dialect.least_fields <= len(cells) <= self.dialect.n_fields:
                time = self._time_in(cells[index])
                if time is not None:
                    return time, round(total / per_line)
        return None, round(total / per_line)

    def _time_in(self, cell: str) -> float | None:
        """Return the time that one cell holds, None when it holds none. [s]"""
        if self.dialect.clock is not None:
            time = self.dialect.clock.elapsed(cell)
            passed = time is not None and time < 0.0 and not self.dialect.clock.dated
            return time + DAY_S if time is not None and passed else time
        if not is_number(cell, self.dialect.decimal):
            return None
        return float(cell.replace(",", ".")) * self._layout.time_factor

    def _tail_encoding(self) -> str:
        """Return the encoding of bytes from the middle, where no byte order mark stands."""
        name = self.dialect.encoding
        if name != "utf-16":
            return name
        start = next(pieces(self._path, 2), b"")
        return "utf-16-be" if start == codecs.BOM_UTF16_BE else "utf-16-le"

    def _lines(self, tally: Tally) -> Iterator[Lines]:
        """Yield the data as plain lines."""
        skip = self.dialect.first_line - 1
        number, rest = 1, b""
        mark = b"\r" if self.dialect.line_end == "\r" else b"\n"
        for piece in self._plain(tally):
            cut = piece.rfind(mark) + 1
            text = b"".join((rest, memoryview(piece)[:cut])) if cut else b""
            rest = piece[cut:] if cut else rest + piece
            if len(rest) > LONGEST_LINE:
                raise LogError(
                    f"a line is longer than {LONGEST_LINE} bytes",
                    where=f"{self._where}, line {number + text.count(mark)}",
                    do="Check that the file is a text log",
                )
            if b"\r" in text:
                text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            if skip:
                passed = min(skip, count_of("\n", text))
                text = text.split(b"\n", passed)[-1]
                skip -= passed
                number += passed
            if text:
                lines = Lines(text, number, count_of("\n", text))
                yield lines
                number += lines.count
        if rest.strip(b" \t\x1a"):
            tally.add(Loss.CUT_LINE, 1, [f"line {number}"])

    def _plain(self, tally: Tally) -> Iterator[bytes]:
        """Yield the bytes of the log in an encoding whose digits are ASCII, without NULs."""
        decoder = None
        if self._wide:
            decoder = codecs.getincrementaldecoder(self.dialect.encoding)("replace")
        for piece in pieces(self._path, self._block_bytes):
            plain = decoder.decode(piece).encode() if decoder else piece
            if b"\0" in plain:
                tally.add(Loss.NUL, count_of("\0", plain))
                plain = plain.replace(b"\0", b"")
            yield plain
