"""A whole look at one log: how it is written, what it holds, what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError, Notice, Severity
from rigdata.logs.block import Listed, Tally
from rigdata.logs.dialect import Dialect, lines_of
from rigdata.logs.extremes import LogExtremes
from rigdata.logs.flags import Flag
from rigdata.logs.frames import BLOCK_BYTES, Frames, read_frames
from rigdata.logs.judge import ColumnRequest
from rigdata.logs.listing import is_time_name, table_in, time_in
from rigdata.logs.order import RisingRows
from rigdata.logs.rawbytes import head_of
from rigdata.logs.readers import READERS, open_log
from rigdata.logs.text import TextLog

_HEAD = 2**21


@dataclass(frozen=True, eq=False)
class ColumnLook:
    """One column of numbers.

    Attributes
    ----------
    name : str
        As the log calls it.
    unit : str or None
        As the log states it.
    n_samples : int
        Cells that hold a number.
    first, last, low, high : float
        First, last, lowest and highest number; NaN where there is none.
    period_s : float
        Median time between its samples. [s]
    counts : mapping of Flag to int
        Flagged samples.
    lows, highs : (p,) array
        Lowest and highest number in each of `LogLook.edges_s`, NaN where none is.
    marks : mapping of Flag to (m,) array
        Times of the flagged stretches. [s]
    """

    name: str
    unit: str | None
    n_samples: int
    first: float
    last: float
    low: float
    high: float
    period_s: float
    counts: Mapping[Flag, int]
    lows: FloatArray
    highs: FloatArray
    marks: Mapping[Flag, FloatArray]

    def __post_init__(self) -> None:
        for name in ("lows", "highs"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        marks = {flag: frozen(times) for flag, times in self.marks.items()}
        object.__setattr__(self, "counts", MappingProxyType(dict(self.counts)))
        object.__setattr__(self, "marks", MappingProxyType(marks))


@dataclass(frozen=True, eq=False)
class LogLook:
    """What one log was understood to be.

    Attributes
    ----------
    path : Path
        The log.
    format : str
        What it is, such as ``delimited text``.
    settings : LogSettings
        What was stated or, for the time, proposed.
    dialect : Dialect or None
        How a text log is written.
    columns : tuple of ColumnLook
        Columns of numbers that could be read.
    others : tuple of str
        Columns without numbers.
    offered : tuple of Listed
        All columns of numbers, the time among them where it is a column.
    n_rows : int
        Data rows, used or not.
    start_s, end_s, sample_s : float
        First and last time, median time between rows. [s]
    gaps : tuple of (float, float)
        Last time before and first time after each gap, to a frame. [s]
    edges_s : (p + 1,) array
        Bounds of the stretches of `lows` and `highs`. [s]
    notices : tuple of Notice
        What was dropped or taken by default.
    sha256 : str
        Hash of the file.
    """

    path: Path
    format: str
    settings: LogSettings
    dialect: Dialect | None
    columns: tuple[ColumnLook, ...]
    others: tuple[str, ...]
    offered: tuple[Listed, ...]
    n_rows: int
    start_s: float
    end_s: float
    sample_s: float
    gaps: tuple[tuple[float, float], ...]
    edges_s: FloatArray
    notices: tuple[Notice, ...]
    sha256: str


def look_at(
    path: Path,
    settings: LogSettings | None = None,
    *,
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> LogLook:
    """Read one log with all its columns of numbers.

    Parameters
    ----------
    path : Path
        The log.
    settings : LogSettings, optional
        What is stated about it; else all is detected, the time column by its name,
        unit or stamps.
    ranges : mapping of str to (float, float), optional
        Range of a column in logged units.

    Raises
    ------
    LogError
        When the log cannot be read, or no column is plainly the time.
    """
    stated = settings or LogSettings(_time_column(path))
    log = open_log(path, stated, {}, BLOCK_BYTES)
    time, listing = stated.time_column, log.listing
    if isinstance(log, TextLog):
        time = log.dialect.names[log.dialect.time_index]
    names = [column.name for column in listing]
    numbers = [
        c for c in listing if c.is_number and names.count(c.name) == 1 and not _is(c.name, time)
    ]
    requests = {
        c.name: ColumnRequest(c.name, *((ranges or {}).get(c.name) or (None, None)))
        for c in numbers
    }
    if not requests:
        raise LogError(
            "no column holds numbers besides the time",
            where=shown(path),
            expected="one of " + ", ".join(f"'{name}'" for name in names[:12]),
            do="Name each column once, and export numbers",
        )
    frames, refused = _readable(path, stated, requests)
    requests = {name: requests[name] for name in frames.values}
    extremes = LogExtremes(requests, *_span(frames))
    order = RisingRows(Tally())
    for block in open_log(path, stated, {n: n for n in requests}, BLOCK_BYTES).blocks(Tally()):
        extremes.take(order.push(block))
    last = order.finish()
    if last is not None:
        extremes.take(last)
    doubled = sorted({name for name in names if names.count(name) > 1})
    refused += [
        Notice(
            Severity.WARNING,
            shown(path),
            f"'{name}' is the name of {names.count(name)} columns, none of them was read",
            "Rename them in the logger's setup.",
        )
        for name in doubled
    ]
    return LogLook(
        path=path,
        format=getattr(log, "format", "delimited text"),
        settings=replace(stated, time_column=time),
        dialect=frames.dialect,
        columns=tuple(_column(name, extremes, frames) for name in requests),
        others=tuple(c.name for c in listing if not c.is_number and not _is(c.name, time)),
        offered=tuple(numbers),
        n_rows=frames.n_rows,
        start_s=extremes.start_s,
        end_s=extremes.end_s,
        sample_s=frames.sample_s,
        gaps=_gaps(frames),
        edges_s=extremes.edges_s,
        notices=(*frames.notices, *refused),
        sha256=frames.sha256,
    )


def offered_by(path: Path, settings: LogSettings) -> tuple[Listed, ...]:
    """Return the columns that a log offers."""
    return open_log(path, settings, {}, BLOCK_BYTES).listing


def _time_column(path: Path) -> str:
    """Return the name of the column that is plainly the time."""
    where = shown(path)
    if READERS.get(path.suffix.lower(), TextLog) is TextLog:
        head, complete = head_of(path, _HEAD)
        lines = lines_of(head, None, complete=complete, where=where).lines
        table = table_in(lines, None, where=where)
        index = time_in(table.names, table.units, table.rows)
        names: Sequence[str] = table.names
        chosen = names[index] if index >= 0 else ""
    else:
        names = [c.name for c in open_log(path, LogSettings("time"), {}, BLOCK_BYTES).listing]
        bare = [name.rpartition("/")[2] for name in names]
        chosen = next((name for name in bare if is_time_name(name)), "time")
    if chosen:
        return chosen
    raise LogError(
        "no column is plainly the time",
        where=where,
        expected="one called time, in s or ms, or with time stamps, not only "
        + ", ".join(f"'{name}'" for name in names[:8])
        + (", ..." if len(names) > 8 else ""),
        do="State the time's column with --time, or as time_column in [log] of a rig file",
    )


def _is(name: str, time: str) -> bool:
    return name == time or name.rpartition("/")[2] == time


def _readable(
    path: Path, settings: LogSettings, requests: Mapping[str, ColumnRequest]
) -> tuple[Frames, list[Notice]]:
    """Return the frames of the columns that can be read, and why others cannot."""
    try:
        return read_frames(path, settings, requests), []
    except LogError as error:
        if len(requests) == 1:
            raise
        first = error
    sound, refused = {}, []
    for name, request in requests.items():
        try:
            read_frames(path, settings, {name: request})
        except LogError as error:
            refused.append(Notice(Severity.LEFT_OUT, shown(path), _one_clause(error)))
        else:
            sound[name] = request
    if not sound:
        raise first
    return read_frames(path, settings, sound), refused


def _one_clause(error: LogError) -> str:
    return str(error).removesuffix(".")


def _span(frames: Frames) -> tuple[float, float]:
    return float(frames.time_s[0] - frames.frame_s), float(frames.time_s[-1] + frames.frame_s)


def _gaps(frames: Frames) -> tuple[tuple[float, float], ...]:
    after = np.zeros(frames.time_s.size, np.bool_)
    for flags in frames.flags.values():
        after |= (flags & Flag.GAP.value) > 0
    at = np.flatnonzero(after)
    at = at[at > 0]
    return tuple(
        (float(before), float(then))
        for before, then in zip(frames.time_s[at - 1], frames.time_s[at], strict=True)
    )


def _column(name: str, extremes: LogExtremes, frames: Frames) -> ColumnLook:
    found = extremes.columns[name]
    empty = found.count == 0
    return ColumnLook(
        name=name,
        unit=frames.units[name],
        n_samples=found.count,
        first=found.first,
        last=found.last,
        low=np.nan if empty else float(np.nanmin(found.lows)),
        high=np.nan if empty else float(np.nanmax(found.highs)),
        period_s=frames.periods[name],
        counts=frames.counts[name],
        lows=found.lows,
        highs=found.highs,
        marks=dict(_marks(name, extremes.edges_s, frames)),
    )


def _marks(name: str, edges_s: FloatArray, frames: Frames) -> Iterator[tuple[Flag, FloatArray]]:
    """Yield the times of flagged frames, no two in one stretch."""
    for flag in frames.counts[name]:
        times = frames.time_s[(frames.flags[name] & flag.value) > 0]
        _, first = np.unique(np.searchsorted(edges_s, times), return_index=True)
        yield flag, times[first]
