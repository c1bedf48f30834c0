"""MDF logs (ASAM measurement data format, versions 3 and 4), read by the package asammdf.

Channels are read one by one with their own times: its tables join groups by
interpolation and hold first values backwards.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError, Notice, Severity
from rigdata.extras import wanted_package
from rigdata.logs.channel_log import ChannelLog
from rigdata.logs.container import Container, Source, check_start, is_numeric, understood
from rigdata.logs.rawbytes import most_bytes

WORDS = "an MDF file"
_FINISHED, _UNFINISHED = b"MDF     ", b"UnFinMF "
_TIME = 1  # kind of a master channel: seconds


def open_mdf(
    path: Path, settings: LogSettings, columns: Mapping[str, str], block_bytes: int
) -> ChannelLog:
    """Open an MDF log; a `rigdata.logs.readers.Reader`."""
    return ChannelLog(path, WORDS, lambda: _opened(path), settings, columns, block_bytes)


@contextmanager
def _opened(path: Path) -> Iterator[Container]:
    asammdf = wanted_package("asammdf", "mdf", LogError)
    where = shown(path)
    check_start(path, (_FINISHED, _UNFINISHED), WORDS)
    with path.open("rb") as raw:
        unfinished = raw.read(len(_UNFINISHED)) == _UNFINISHED
        raw.seek(0)
        with understood(where, WORDS):  # the package finishes a copy of an unfinished file
            file = _started(asammdf, path if unfinished else raw)
        try:
            with understood(where, WORDS):
                container = _MdfFile(file, where, path.stat().st_size)
            if unfinished:
                container.notices = [_interrupted(where)]
            yield container
        finally:
            file.close()


def _started(asammdf: Any, source: Any) -> Any:
    """Return the package's open file; what it leaves of one that fails is closed."""
    try:
        return asammdf.MDF(source)
    except Exception as error:
        trace = error.__traceback__
        while trace is not None:  # its destructor trips over the half-made file
            half_made: Any = trace.tb_frame.f_locals.get("self")
            if hasattr(half_made, "_tempfile"):
                half_made._tempfile.close()
                half_made._closed = True
            trace = trace.tb_next
        raise


def _check_records(content: Any, size: int) -> None:
    """Raise where records cannot be as stated; the package's C code takes them as they are."""
    group = content.channel_group
    record = int(group.samples_byte_nr) + int(getattr(group, "invalidation_bytes_nr", 0))
    if record * max(1, int(group.cycles_nr)) > most_bytes(size):
        raise ValueError("a group is larger than the file can be")
    for channel in content.channels:
        offset = getattr(channel, "bit_offset", getattr(channel, "start_offset", 0))
        if 8 * channel.byte_offset + offset + channel.bit_count > 8 * record:
            raise ValueError("a channel lies outside of its records")


def _interrupted(where: str) -> Notice:
    return Notice(
        Severity.WARNING,
        where,
        "the file is marked as unfinished: the logger was interrupted",
        "Look whether the end of the run is there.",
    )


class _MdfFile(Container):
    """An open MDF file; a source is a channel of a channel group, called ``GROUP/NAME``."""

    def __init__(self, file: Any, where: str, size: int) -> None:
        self._file, self._where = file, where
        self._places: list[tuple[int, int]] = []
        sources = []
        for group, content in enumerate(file.groups):
            _check_records(content, size)
            count = int(content.channel_group.cycles_nr)
            for index, channel in enumerate(content.channels):
                unit = file.get_channel_unit(channel.name, group, index) or None
                self._places.append((group, index))
                sources.append(
                    Source(
                        path=f"{group}/{channel.name}",
                        name=channel.name,
                        group=str(group),
                        unit=unit,
                        n_rows=count,
                        is_number=count > 0 and self._is_number(group, index),
                    )
                )
        self.sources = sources

    def read(self, number: int, start: int, stop: int) -> Any:
        """Return samples; those that the file marks as invalid are NaN."""
        group, index = self._places[number]
        with understood(self._where, WORDS):
            samples, invalid = self._file.get(
                group=group,
                index=index,
                samples_only=True,
                ignore_invalidation_bits=True,
                record_offset=start,
                record_count=stop - start,
            )
        if invalid is None or not np.any(invalid):
            return samples
        return np.where(invalid, np.nan, samples)

    def own_time(self, number: int) -> Hashable | None:
        """Return the group, where its master channel is a time."""
        group, _ = self._places[number]
        master = self._file.masters_db.get(group)
        if master is None:
            return None
        kind = getattr(self._file.groups[group].channels[master], "sync_type", _TIME)
        if kind not in (0, _TIME):
            return None
        return group

    def own_times(self, number: int, start: int, stop: int) -> FloatArray:
        """Return times of the master channel. [s]"""
        group, _ = self._places[number]
        with understood(self._where, WORDS):
            times = self._file.get_master(group, record_offset=start, record_count=stop - start)
        return np.asarray(times, np.float64)

    def _is_number(self, group: int, index: int) -> bool:
        samples, _ = self._file.get(
            group=group,
            index=index,
            samples_only=True,
            ignore_invalidation_bits=True,
            record_offset=0,
            record_count=1,
        )
        return samples.ndim == 1 and is_numeric(samples.dtype)
