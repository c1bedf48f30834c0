"""Logs that hold channels instead of lines: what a format has to offer.

A format is one module with a subclass of `Container`; `ChannelLog` makes rows
of it that look like those of a text log.
"""

from __future__ import annotations

import contextlib
import logging
import warnings
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.files import shown
from rigdata.errors import LogError, Notice
from rigdata.logs.header import column_index, positions
from rigdata.storage.files import opened


@dataclass(frozen=True)
class Source:
    """One channel of a file.

    Attributes
    ----------
    path : str
        Its name with the groups above it, which is unique.
    name : str
        Its name alone.
    group : str
        What it shares with the channels that were sampled with it.
    unit : str or None
        As the file states it.
    n_rows : int
        Number of samples.
    is_number : bool
        Whether it holds numbers, and no text.
    """

    path: str
    name: str
    group: str
    unit: str | None
    n_rows: int
    is_number: bool = True


class Container:
    """An open file of channels; a format overrides what it does otherwise.

    Attributes
    ----------
    sources : sequence of Source
        The channels, times among them where they are channels.
    notices : sequence of Notice
        What was found on opening the file.
    """

    sources: Sequence[Source] = ()
    notices: Sequence[Notice] = ()

    def read(self, number: int, start: int, stop: int) -> Any:
        """Return samples `start` to before `stop` of a source: numbers, dates or durations."""
        raise NotImplementedError

    def own_time(self, number: int) -> Hashable | None:
        """Return the same for sources whose times the format itself keeps alike, else None."""
        return None

    def own_times(self, number: int, start: int, stop: int) -> FloatArray:
        """Return the times that the format itself keeps of samples of a source. [s]"""
        raise NotImplementedError

    def time_source(self, number: int, name: str) -> int | None:
        """Return the source called `name` that holds the times of source `number`."""
        group = self.sources[number].group
        inside = [i for i, source in enumerate(self.sources) if source.group == group]
        found = positions([self.sources[i].name for i in inside], name)
        return inside[found[0]] if len(found) == 1 else None

    def pieces(self, numbers: Sequence[int], step: int) -> Iterator[list[Any]]:
        """Yield all samples of sources of one length, `step` at a time."""
        total = self.sources[numbers[0]].n_rows
        for start in range(0, total, step):
            stop = min(start + step, total)
            yield [self.read(number, start, stop) for number in numbers]

    def ends(self, number: int) -> tuple[Any, Any]:
        """Return the first and the last sample of a source that has any."""
        last = self.sources[number].n_rows
        return self.read(number, 0, 1)[0], self.read(number, last - 1, last)[0]


def source_named(sources: Sequence[Source], wanted: str, *, where: str) -> int:
    """Return the one source that `wanted` means, with or without its groups.

    Raises
    ------
    LogError
        When there is none, with the nearest names, or more than one.
    """
    names = [source.name for source in sources]
    paths = [source.path for source in sources]
    found = positions(paths, wanted.strip("/")) or positions(names, wanted)
    if len(found) > 1:
        several = [sources[i] for i in found]
        raise LogError(
            f"channel '{wanted}' is there {len(found)} times",
            where=where,
            expected="one of "
            + ", ".join(f"'{s.path}'" + (f" [{s.unit}]" if s.unit else "") for s in several[:6]),
            do="Write the name in full in the rig file",
        )
    return found[0] if found else column_index(names, wanted, where=where)


@contextlib.contextmanager
def understood(where: str, words: str) -> Iterator[None]:
    """Make one clear message of whatever a package says about a file, and nothing else.

    Parameters
    ----------
    where : str
        The file.
    words : str
        What it should be, such as ``an MDF file``.
    """
    silent = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except LogError:
        raise
    except Exception as error:  # packages raise what they like on a damaged file
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise LogError(
            f"cannot be read as {words} ({reason})",
            where=where,
            do="Copy it from the logger again: it may be damaged or cut short",
        ) from error
    finally:
        logging.disable(silent)


def check_start(path: Path, starts: tuple[bytes, ...], words: str) -> None:
    """Refuse a file that does not start as its format does, before a package looks at it.

    Raises
    ------
    LogError
        When it does not, or cannot be read.
    """
    try:
        with opened(path) as file:
            start = file.read(max(map(len, starts)))
    except OSError as error:
        raise LogError(
            f"cannot be read ({error.strerror or error})",
            where=shown(path),
            do="Check that the file is there",
        ) from error
    if not start.startswith(starts):
        raise LogError(
            f"cannot be read as {words} (it does not start as one)",
            where=shown(path),
            do="Give it the ending of its format, or copy it from the logger again",
        )


def is_numeric(dtype: np.dtype[Any]) -> bool:
    """Tell whether samples of this type are real numbers."""
    return dtype.kind in "fiub"
