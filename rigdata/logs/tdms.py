"""TDMS logs, read by the package npTDMS, each channel with the times that its waveform states."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
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

WORDS = "a TDMS file"


def open_tdms(
    path: Path, settings: LogSettings, columns: Mapping[str, str], block_bytes: int
) -> ChannelLog:
    """Open a TDMS log; a `rigdata.logs.readers.Reader`."""
    return ChannelLog(path, WORDS, lambda: _opened(path), settings, columns, block_bytes)


@contextmanager
def _opened(path: Path) -> Iterator[Container]:
    package = wanted_package("nptdms", "tdms", LogError)
    where = shown(path)
    check_start(path, (b"TDSm",), WORDS)
    with path.open("rb") as raw:  # else it stays open where the package fails
        with understood(where, WORDS):
            container = _TdmsFile(package.TdmsFile.open(raw), where)
        yield container


class _TdmsFile(Container):
    """An open TDMS file; a source is a channel, called ``GROUP/CHANNEL``."""

    def __init__(self, file: Any, where: str) -> None:
        self._where = where
        self._channels = [channel for group in file.groups() for channel in group.channels()]
        self.sources = [
            Source(
                path=f"{channel.group_name}/{channel.name}",
                name=channel.name,
                group=channel.group_name,
                unit=str(channel.properties.get("unit_string") or "").strip() or None,
                n_rows=len(channel),
                is_number=is_numeric(np.dtype(channel.dtype)),
            )
            for channel in self._channels
        ]
        starts = [c.properties.get("wf_start_time") for c in self._channels]
        self._earliest = min((start for start in starts if start is not None), default=None)
        if file.file_status.incomplete_final_segment:
            self.notices = [_cut_short(file, where)]

    def read(self, number: int, start: int, stop: int) -> Any:
        """Return samples."""
        with understood(self._where, WORDS):
            return self._channels[number][start:stop]

    def own_time(self, number: int) -> tuple[float, float] | None:
        """Return first time and step that the waveform states, on one clock for all. [s]"""
        stated = self._channels[number].properties
        step = float(stated.get("wf_increment") or 0.0)
        if not step > 0.0:
            return None
        first = float(stated.get("wf_start_offset") or 0.0)
        if stated.get("wf_start_time") is not None:
            first += (
                float((stated["wf_start_time"] - self._earliest) / np.timedelta64(1, "us")) / 1e6
            )
        return first, step

    def own_times(self, number: int, start: int, stop: int) -> FloatArray:
        """Return the times that follow from first time and step. [s]"""
        waveform = self.own_time(number)
        assert waveform is not None
        return np.asarray(waveform[0] + waveform[1] * np.arange(start, stop), np.float64)


def _cut_short(file: Any, where: str) -> Notice:
    """Return what is to be told of a file whose last segment is not whole."""
    states = (file.file_status.channel_statuses or {}).values()
    lost = sum(state.expected_length - state.read_length for state in states)
    words = f", {lost} samples of its channels are not there" if lost else ""
    return Notice(
        Severity.LEFT_OUT,
        where,
        f"the file ends inside its last segment{words}",
        "The logger was interrupted or the copy cut short: copy it again, or repeat the run.",
    )
