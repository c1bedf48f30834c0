"""A file of channels as an open log: rows in order of time, as from text."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError, Notice, Severity
from rigdata.logs.ahead import one_ahead
from rigdata.logs.block import Block, Listed, Tally
from rigdata.logs.container import Container, Source, source_named, understood
from rigdata.logs.dialect import unit_of_time
from rigdata.logs.header import column_index
from rigdata.logs.merging import merged
from rigdata.logs.rawbytes import MOST_EXPANSION, most_bytes
from rigdata.logs.sentinels import missing_values, without_sentinels
from rigdata.quantities import UNITS

_LEAST_ROWS = 1000
Opener = Callable[[], AbstractContextManager[Container]]


@dataclass(frozen=True)
class _Base:
    """Channels that share their sample times: another channel, or what the format keeps."""

    time: int | None
    n_rows: int
    factor: float = 1.0  # seconds in the unit of the time
    origin: Any = None  # first whole second of times that are dates
    numbers: dict[str, int] = field(default_factory=dict)

    @property
    def any_number(self) -> int:
        """One of the channels."""
        return next(iter(self.numbers.values()))

    def seconds(self, times: Any) -> FloatArray:
        """Return times as the file holds them in seconds."""
        lengths = times if self.origin is None else times - self.origin
        if lengths.dtype.kind != "m":
            with np.errstate(invalid="ignore"):  # NaN of any kind
                return np.asarray(lengths, np.float64) * self.factor
        ticks = lengths.astype("m8[ns]")
        return np.where(np.isnat(ticks), np.nan, ticks.astype(np.int64) / 1e9)


class ChannelLog:
    """A log of channels ready to be read; an `OpenLog`.

    The time of a channel is the channel that the rig file calls `time_column`, in
    the same group; where there is none, the times that the format itself keeps.

    Parameters
    ----------
    path : Path
        The log.
    words : str
        What it is, such as ``an MDF file``.
    opened : callable
        Opens it.
    settings : LogSettings
        What the rig file says about the logs.
    columns : mapping of str to str
        Wanted channel for each key, with or without its groups.
    block_bytes : int
        Size of the blocks in which to read.

    Raises
    ------
    LogError
        When a channel or its time is not there or holds no numbers.
    """

    dialect = None

    def __init__(
        self,
        path: Path,
        words: str,
        opened: Opener,
        settings: LogSettings,
        columns: Mapping[str, str],
        block_bytes: int,
    ) -> None:
        self.format = words
        self._where = shown(path)
        self._opened = opened
        self._missing = missing_values(settings)
        self._remarks: list[str] = []
        with opened() as container:
            sources = container.sources
            names = [source.name for source in sources]
            self.listing = tuple(
                Listed(s.name if names.count(s.name) == 1 else s.path, s.unit, s.is_number)
                for s in sources
            )
            wanted = {
                key: source_named(sources, column, where=self._where)
                for key, column in columns.items()
            }
            self.units: Mapping[str, str | None] = {k: sources[i].unit for k, i in wanted.items()}
            _check_size([sources[i].n_rows for i in wanted.values()], path, self._where)
            self._bases = self._grouped(container, wanted, settings.time_column)
            notes = [Notice(Severity.NOTE, self._where, words) for words in self._remarks]
            self.notices = (*container.notices, *notes)
        width = 8 * (1 + max((len(base.numbers) for base in self._bases), default=0))
        self._step = max(_LEAST_ROWS, block_bytes // width)

    def blocks(self, tally: Tally, pool: Executor | None = None) -> Iterator[Block]:
        """Yield all rows in order; what is left out is counted in `tally`."""
        return one_ahead(self._blocks(tally), pool)

    def _blocks(self, tally: Tally) -> Iterator[Block]:
        with self._opened() as container:
            rows = [self._rows(container, base) for base in self._bases]
            joined = rows[0] if len(rows) == 1 else merged(rows, tally)
            for block in joined:
                yield without_sentinels(block, self._missing, tally)

    def extent(self) -> tuple[float | None, int]:
        """Return the latest time, and roughly the number of rows."""
        last = []
        with self._opened() as container:
            for base in self._bases:
                if base.time is None:
                    time = container.own_times(base.any_number, base.n_rows - 1, base.n_rows)
                else:
                    time = base.seconds(np.asarray([self._ends(container, base.time)[1]]))
                last.append(float(time[0]))
        known = [time for time in last if np.isfinite(time)]
        return max(known, default=None), max((base.n_rows for base in self._bases), default=0)

    def _grouped(
        self, container: Container, wanted: Mapping[str, int], time_column: str
    ) -> list[_Base]:
        """Return the wanted channels by the times that they share."""
        bases: dict[Hashable, _Base] = {}
        for key, number in wanted.items():
            source = container.sources[number]
            place = f"{self._where}, channel '{source.path}'"
            if not source.is_number:
                raise LogError("holds no numbers", where=place, expected="a channel of numbers")
            if source.n_rows == 0:
                raise LogError("holds no samples", where=place, do="Look at the logger's setup")
            time = container.time_source(number, time_column)
            own = container.own_time(number) if time is None else None
            if time is None and own is None:
                raise self._no_time(container, source, time_column)
            same = (own, time, source.n_rows)
            if same not in bases:
                if time is None:
                    self._remark(f"no channel '{time_column}': the file's own times are used")
                    bases[same] = _Base(None, source.n_rows)
                else:
                    bases[same] = self._timed(container, time, source)
            bases[same].numbers[key] = number
        return list(bases.values())

    def _timed(self, container: Container, number: int, source: Source) -> _Base:
        """Return the base whose times are another channel."""
        time = container.sources[number]
        if time.n_rows != source.n_rows:
            raise LogError(
                f"has {source.n_rows} samples and its time '{time.path}' {time.n_rows}",
                where=f"{self._where}, channel '{source.path}'",
                expected="a time for each sample",
                do="Correct time_column in the rig file",
            )
        first = np.asarray(self._ends(container, number)[0])
        if first.dtype.kind == "M":
            return _Base(number, source.n_rows, origin=first.astype("M8[s]"))
        if first.dtype.kind == "m":
            return _Base(number, source.n_rows)
        if not time.is_number:
            raise LogError(
                "holds no numbers and no dates",
                where=f"{self._where}, channel '{time.path}'",
                expected="times in s or ms, or dates",
                do="Correct time_column in the rig file",
            )
        unit, remarks = unit_of_time(time.name, time.unit, self._where)
        for words in remarks:
            self._remark(words)
        return _Base(number, source.n_rows, UNITS[unit].factor)

    def _ends(self, container: Container, number: int) -> tuple[Any, Any]:
        with understood(self._where, self.format):
            return container.ends(number)

    def _remark(self, words: str) -> None:
        if words not in self._remarks:
            self._remarks.append(words)

    def _no_time(self, container: Container, source: Source, time_column: str) -> LogError:
        """Return the error for a channel without times."""
        beside = [s.path for s in container.sources if s.group == source.group and s != source]
        try:
            column_index(beside, time_column, where=self._where)
        except LogError as error:
            return LogError(
                f"channel '{source.path}' has no time: no '{time_column}' belongs to it",
                where=self._where,
                expected=error.expected if beside else "a channel with the times beside it",
                do="Correct time_column in the rig file",
            )
        raise AssertionError

    def _rows(self, container: Container, base: _Base) -> Iterator[Block]:
        """Yield the rows of one base."""
        numbers = list(base.numbers.values())
        timed = [] if base.time is None else [base.time]
        start = 0
        pieces = container.pieces([*timed, *numbers], self._step)
        while True:
            with understood(self._where, self.format):
                piece = next(pieces, None)
            if piece is None:
                return
            stop = start + len(piece[-1])
            if base.time is None:
                time = container.own_times(base.any_number, start, stop)
            else:
                time = base.seconds(piece.pop(0))
            columns = zip(base.numbers, piece, strict=True)
            yield Block(time, {key: np.asarray(column, np.float64) for key, column in columns})
            start = stop


def _check_size(rows: Sequence[int], path: Path, where: str) -> None:
    """Refuse a file that states more samples than a log of its size can hold."""
    if 8 * sum(rows) > most_bytes(path.stat().st_size):
        raise LogError(
            f"expands to more than {MOST_EXPANSION} times its size",
            where=where,
            do="Copy it from the logger again, or export the channels as text",
        )
