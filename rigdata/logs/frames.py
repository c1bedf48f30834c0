"""Raw logs to frames: samples flagged, then averaged over a few milliseconds."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

import numpy as np

from rigdata.arrays import FloatArray, IntArray, frozen
from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.engines.local import usable_threads
from rigdata.errors import LogError, Notice
from rigdata.logs.between import Holes, between_samples
from rigdata.logs.block import Block, Loss, Tally
from rigdata.logs.dialect import Dialect
from rigdata.logs.flags import Flag
from rigdata.logs.judge import ColumnRequest, FlagArray
from rigdata.logs.order import RisingRows
from rigdata.logs.readers import open_log
from rigdata.logs.stream import ColumnFrames, Stream, StreamFrames
from rigdata.logs.survey import Survey, survey
from rigdata.storage.files import sha256

__all__ = ["ColumnRequest", "Flag", "Frames", "read_frames"]

BLOCK_BYTES = 4 * 2**20
# The C library of Linux gives freed memory back at once and asks for it anew in each block,
# a seventh of the time; after it has freed one array of this size, its largest, it keeps some.
_KEPT_BYTES = 31 * 2**20
_THREADS = 2  # they parse, one after the hash; the caller flags and averages
# A sample this close below the end of a frame belongs to the next one: decimal
# times such as 0.29 s do not fall on binary multiples of 0.01 s.
_EDGE = 1e-3


@dataclass(frozen=True, eq=False)
class Frames:
    """A log averaged into frames, in logged units.

    Attributes
    ----------
    time_s : (n,) array
        Mean time of the samples of each frame, rising. [s]
    values : mapping of str to (n,) array
        Mean of the good samples of each column, NaN where there is none.
    spread : mapping of str to (n,) array
        Standard deviation of the good samples about the mean of their frame, for
        the columns that ask for it: what averaging took off an oscillation faster
        than the frames.  0 where each frame is one sample; a column interpolated
        between its own samples has none.
    flags : mapping of str to (n,) uint8 array
        Union of `Flag` over the samples of each frame.
    n_samples : (n,) int array
        Rows of the log in each frame; frames without any are not there.
    counts : mapping of str to mapping of Flag to int
        Flagged samples of each column; flags never raised are left out.
    units : mapping of str to str or None
        Unit of each column as the log states it.
    periods : mapping of str to float
        Time between the samples of each column: `sample_s`, but longer for a
        column that is filled in some rows only and interpolated in between. [s]
    n_rows : int
        Data rows of the log, used or not.
    sample_s : float
        Median time between rows at the start of the log. [s]
    frame_s : float
        Length of a frame; `sample_s` where each frame is one sample. [s]
    dialect : Dialect or None
        How the log is written, where it is text.
    notices : tuple of Notice
        What was dropped or taken by default.
    sha256 : str
        Hash of the log file.
    not_rising_s : (m,) array
        Times of the rows dropped because they do not rise, as they came. [s]
    cut_line : bool
        Whether the last line has no line end and was left out.
    """

    time_s: FloatArray
    values: Mapping[str, FloatArray]
    spread: Mapping[str, FloatArray]
    flags: Mapping[str, FlagArray]
    n_samples: IntArray
    counts: Mapping[str, Mapping[Flag, int]]
    units: Mapping[str, str | None]
    periods: Mapping[str, float]
    n_rows: int
    sample_s: float
    frame_s: float
    dialect: Dialect | None
    notices: tuple[Notice, ...]
    sha256: str
    not_rising_s: FloatArray = field(default_factory=lambda: np.empty(0))
    cut_line: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_s", frozen(self.time_s))
        object.__setattr__(self, "n_samples", frozen(self.n_samples, np.int64))
        object.__setattr__(self, "not_rising_s", frozen(self.not_rising_s))
        values = {key: frozen(column) for key, column in self.values.items()}
        spread = {key: frozen(column) for key, column in self.spread.items()}
        flags = {key: frozen(column, np.uint8) for key, column in self.flags.items()}
        object.__setattr__(self, "values", MappingProxyType(values))
        object.__setattr__(self, "spread", MappingProxyType(spread))
        object.__setattr__(self, "flags", MappingProxyType(flags))
        for name in ("counts", "units", "periods"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))


def read_frames(
    path: Path,
    settings: LogSettings,
    columns: Mapping[str, ColumnRequest],
    *,
    frame_s: float | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    block_bytes: int = BLOCK_BYTES,
) -> Frames:
    """Read a log, flag its samples and average them into frames.

    Parameters
    ----------
    path : Path
        The log.
    settings : LogSettings
        What the rig file says about its dialect.
    columns : mapping of str to ColumnRequest
        Wanted column for each key.
    frame_s : float, optional
        Length of a frame: 5 ms or a 100 000th of the log unless given, whichever
        is longer. [s]
    start_s, end_s : float, optional
        First and last time to use. [s]
    block_bytes : int, optional
        Bytes read at a time; the result does not depend on it.

    Returns
    -------
    Frames
        Frames on a grid aligned to time 0, or the samples themselves where the
        log is no faster than that.

    Raises
    ------
    LogError
        When the log cannot be read, a column is not there or holds text, the
        time does not increase, or no row lies between `start_s` and `end_s`; or
        when the log changes while it is read.

    Notes
    -----
    Samples flagged missing, saturated, spike or after a gap are left out of the
    means; stuck ones are only marked.  Rows whose time does not rise are
    dropped and counted.  A column filled in some rows only, at a rate of its
    own, is interpolated linearly between its samples up to 2.5 of its periods.
    """
    where = shown(path)
    before = _stamp(path)
    log = open_log(path, settings, {k: r.column for k, r in columns.items()}, block_bytes)
    look = survey(log, where=where)
    length = look.default_frame_s if frame_s is None else frame_s
    single = look.frames_are_samples(length)
    tally = Tally()
    span = (-np.inf if start_s is None else start_s, np.inf if end_s is None else end_s)
    streams = _Streams(columns, look, None if single else length, span, tally)
    np.empty(_KEPT_BYTES, np.uint8)
    with ThreadPoolExecutor(usable_threads(_THREADS)) as pool:
        digest = pool.submit(sha256, path)
        for block in log.blocks(tally, pool):
            streams.push(block)
        rows, found = streams.finish()
    if _stamp(path) != before:
        raise LogError(
            "the log changed while it was read",
            where=where,
            do="Wait until the logger has closed it, and read it again",
        )
    if rows.time_s.size == 0:
        raise LogError(
            "no row lies between start_s and end_s",
            where=where,
            expected=f"times from {look.start_s:g} s to {look.start_s + look.span_s:g} s",
            do="Correct start_s or end_s of the run",
        )
    return Frames(
        time_s=rows.time_s,
        values={key: found[key].means for key in columns},
        spread={key: spread for key in columns if (spread := found[key].spread) is not None},
        flags={key: found[key].flags for key in columns},
        n_samples=rows.n_samples,
        counts={key: found[key].counts for key in columns},
        units=log.units,
        periods={key: look.periods.get(key, look.sample_s) for key in columns},
        n_rows=streams.n_rows,
        sample_s=look.sample_s,
        frame_s=look.sample_s if single else max(length, look.sample_s),
        dialect=log.dialect,
        notices=(*log.notices, *tally.notices(where)),
        sha256=digest.result(),
        not_rising_s=streams.not_rising_s,
        cut_line=tally[Loss.CUT_LINE] > 0,
    )


class _Streams:
    """Rows to frames: one stream for the columns filled in every row, one for each other.

    Parameters
    ----------
    columns : mapping of str to ColumnRequest
        The wanted columns.
    look : Survey
        What the log looks like.
    frame_s : float or None
        Length of a frame, None where each frame is one row. [s]
    span : tuple of float
        First and last time to use. [s]
    tally : Tally
        Counts the rows not used.
    """

    def __init__(
        self,
        columns: Mapping[str, ColumnRequest],
        look: Survey,
        frame_s: float | None,
        span: tuple[float, float],
        tally: Tally,
    ) -> None:
        self._look, self._frame_s, self._tally = look, frame_s, tally
        self._order = RisingRows(tally)
        dense = {key: request for key, request in columns.items() if key not in look.periods}
        expected = look.expected_frames(frame_s or 0.0)
        self._dense = Stream(dense, look.sample_s, *span, expected)
        # A sparse column has no gaps of its own: `between_samples` finds its holes.
        self._sparse = {
            key: Stream({key: columns[key]}, np.inf, -np.inf, np.inf, expected)
            for key in look.periods
        }
        self._holes = {key: Holes(period) for key, period in look.periods.items()}
        self._used = 0
        self.n_rows = 0

    @property
    def not_rising_s(self) -> FloatArray:
        """Times of the rows dropped because they do not rise. [s]"""
        return self._order.lost_s

    def push(self, block: Block) -> None:
        """Take the next rows of the log."""
        self.n_rows += block.time_s.size
        self._take(self._order.push(block))

    def finish(self) -> tuple[StreamFrames, Mapping[str, ColumnFrames]]:
        """Return the frames of the log and of each column."""
        rest = self._order.finish()
        if rest is not None:
            self._take(rest)
        rows = self._dense.finish()
        self._tally.add(Loss.OUTSIDE, self._used - int(rows.n_samples.sum()))
        found = dict(rows.columns)
        for key, stream in self._sparse.items():
            period = self._look.periods[key]
            lost, length = self._holes[key].lost, self._frame_s or 0.0
            found[key] = between_samples(stream.finish(), key, period, lost, rows, length)
        return rows, found

    def _take(self, rows: Block) -> None:
        time = rows.time_s
        if time.size == 0:
            return
        if self._frame_s is None:
            frames = self._used + np.arange(time.size)
        else:
            frames = np.floor(time / self._frame_s + _EDGE).astype(np.int64)
        self._used += time.size
        self._dense.push(time, frames, rows.values)
        for key, stream in self._sparse.items():
            filled = ~np.isnan(rows.values[key])
            if filled.any():
                self._holes[key].look(time[filled])
                stream.push(time[filled], frames[filled], {key: rows.values[key][filled]})


def _stamp(path: Path) -> tuple[int, int] | None:
    """Return time of change and size of a file; None where there is none."""
    try:
        status = path.stat()
    except OSError:  # opening it says so
        return None
    return status.st_mtime_ns, status.st_size
