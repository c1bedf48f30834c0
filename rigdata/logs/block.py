"""What every reader of logs hands over: blocks of rows, and a tally of what was lost."""

from __future__ import annotations

import enum
from collections.abc import Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Protocol

from rigdata.arrays import FloatArray
from rigdata.errors import Notice, Severity
from rigdata.logs.dialect import Dialect


@dataclass(frozen=True, eq=False)
class Block:
    """Successive rows of a log.

    Attributes
    ----------
    time_s : (m,) array
        Time of each row, NaN where it is missing. [s]
    values : mapping of str to (m,) array
        Each wanted column by its key, in the unit of the log; NaN is missing,
        an infinity is over range.
    """

    time_s: FloatArray
    values: Mapping[str, FloatArray]


class Loss(enum.Enum):
    """Why part of a log was not used."""

    CUT_LINE = "cut line"
    FIELDS = "fields"
    HEADER = "header"
    NUL = "nul"
    SENTINEL = "sentinel"
    NO_TIME = "no time"
    NOT_RISING = "not rising"
    OUTSIDE = "outside"


_WORDS = {
    Loss.CUT_LINE: "last line without a line end left out, as its last number may be cut",
    Loss.FIELDS: "lines with too few or too many fields left out",
    Loss.HEADER: "repeated header lines passed over",
    Loss.NUL: "NUL bytes stripped",
    Loss.SENTINEL: "cells taken as missing because their number stands for no reading",
    Loss.NO_TIME: "rows without a time left out",
    Loss.NOT_RISING: "rows left out because their time does not rise above the rows before",
    Loss.OUTSIDE: "rows outside start_s to end_s not used",
}
_DO = {
    Loss.FIELDS: "Look at these lines.",
    Loss.NO_TIME: "Look at the time column.",
    Loss.SENTINEL: "State missing_values in [log] of the rig file, if these are readings.",
    Loss.NOT_RISING: "Look for a restarted logger, a clock set back (daylight saving) or a time "
    "column with too few digits.",
}
_NOTES = (Loss.HEADER, Loss.SENTINEL, Loss.OUTSIDE)
_SHOWN_LINES = 5


class Tally:
    """A count of what was lost on the way, with the first places of each kind."""

    def __init__(self) -> None:
        self._counts: dict[Loss, int] = {}
        self._places: dict[Loss, list[str]] = {}

    def add(self, loss: Loss, count: int = 1, places: list[str] | None = None) -> None:
        """Count `count` losses; `places` says where, such as ``line 17``."""
        if count:
            self._counts[loss] = self._counts.get(loss, 0) + count
            known = self._places.setdefault(loss, [])
            known += (places or [])[: _SHOWN_LINES - len(known)]

    def take(self, other: Tally) -> None:
        """Add what another tally counted further on in the log."""
        for loss, count in other._counts.items():
            self.add(loss, count, other._places[loss])

    def __getitem__(self, loss: Loss) -> int:
        return self._counts.get(loss, 0)

    def notices(self, where: str) -> tuple[Notice, ...]:
        """Return one notice for each kind of loss."""
        found = []
        for loss in Loss:
            count = self[loss]
            if not count:
                continue
            places = self._places[loss]
            more = ", ..." if len(places) < count and places else ""
            text = f"{count} {_WORDS[loss]}"
            text += f" ({', '.join(places)}{more})" if places else ""
            severity = Severity.NOTE if loss in _NOTES else Severity.LEFT_OUT
            found.append(Notice(severity, where, text, _DO.get(loss, "")))
        return tuple(found)


@dataclass(frozen=True)
class Listed:
    """A column or channel that a log offers.

    Attributes
    ----------
    name : str
        As a rig file may name it.
    unit : str or None
        As the log states it.
    is_number : bool
        Whether it holds numbers, as far as the start of the log shows.
    """

    name: str
    unit: str | None
    is_number: bool


class OpenLog(Protocol):
    """A log ready to be read; what a reader returns.

    Attributes
    ----------
    dialect : Dialect or None
        How the log is written, where it is text.
    units : mapping of str to str or None
        Unit of each wanted column as the log states it.
    listing : tuple of Listed
        The columns or channels that it offers; asked for by `rigdata logs` alone.
    notices : tuple of Notice
        Defaults taken on opening it.
    """

    @property
    def dialect(self) -> Dialect | None: ...  # noqa: D102

    @property
    def units(self) -> Mapping[str, str | None]: ...  # noqa: D102

    @property
    def listing(self) -> tuple[Listed, ...]: ...  # noqa: D102

    @property
    def notices(self) -> tuple[Notice, ...]: ...  # noqa: D102

    def blocks(self, tally: Tally, pool: Executor | None = None) -> Iterator[Block]:
        """Yield all rows in order, from the first on each call; count losses in `tally`.

        Threads of `pool` may work on the blocks to come.
        """
        ...

    def extent(self) -> tuple[float | None, int]:
        """Return the time in the last row, None when unknown, and roughly how many rows."""
        ...
