"""What can go wrong, and how the user is told.

Every message says four things: what is wrong, where, what was expected, and
what to do.  Only ``rigdata.cli`` turns an error into an exit code.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

_MOST_NAMED = 4
_LONGEST = 1500  # characters of a part of a message
_NO_WORD = re.compile(r"(\S{100})\S{150,}(\S{50})")
_BLANKS = re.compile(r"\s{20,}")


class RigdataError(Exception):
    """A fault in the data or in the campaign, told in one message.

    Parameters
    ----------
    what : str
        What is wrong, in one clause.
    where : str
        File, line, column, run or time.
    expected : str
        What would have been right.
    do : str
        What the user can do about it.
    """

    def __init__(self, what: str, *, where: str = "", expected: str = "", do: str = "") -> None:
        self.what = what
        self.where = where
        self.expected = expected
        self.do = do
        super().__init__(compose(what, where=where, expected=expected, do=do))

    def __reduce__(self) -> tuple[Any, ...]:
        """Travel between processes with all four parts."""
        return _made_again, (type(self), self.what, self.where, self.expected, self.do)


def _made_again(
    kind: type[RigdataError], what: str, where: str, expected: str, do: str
) -> RigdataError:
    return kind(what, where=where, expected=expected, do=do)


class CampaignError(RigdataError):
    """The campaign, rig or pack description cannot be used."""


class LogError(RigdataError):
    """A log cannot be read or does not hold what the rig file promises."""


class CalibrationError(RigdataError):
    """A calibration record cannot be used for the reading at hand."""


class ReductionError(RigdataError):
    """A run cannot be reduced to friction points."""


class FitError(RigdataError):
    """A law cannot be fitted to the points at hand."""


class ComparisonError(RigdataError):
    """Two groups of points cannot be compared."""


class TableError(RigdataError):
    """A coefficient table cannot be written, read or asked for this condition."""


class ResultError(RigdataError):
    """A results folder cannot be written or read."""


class EngineError(RigdataError):
    """The processes or the cluster that were to do the work cannot do it."""


class Severity(enum.Enum):
    """How much a notice matters to the result."""

    NOTE = "note"  # a default taken, a choice made
    WARNING = "warning"  # the result stands, but a check was not met
    LEFT_OUT = "left out"  # something is missing from the result


@dataclass(frozen=True)
class Notice:
    """Something the user must know that did not stop the work.

    Attributes
    ----------
    severity : Severity
        How much it matters.
    where : str
        Run, file or channel it concerns.
    what : str
        What was found, with numbers and units.
    do : str
        What the user can do about it; empty when nothing is needed.
    """

    severity: Severity
    where: str
    what: str
    do: str = ""

    def __str__(self) -> str:
        return compose(f"{self.severity.value}: {self.what}", where=self.where, do=self.do)


def gathered(notices: Iterable[Notice]) -> tuple[Notice, ...]:
    """Return the notices with those that say the same of several places made one.

    The order is that of the first of each; the places are named in full up to
    four, then counted.
    """
    places: dict[tuple[Severity, str, str], list[str]] = {}
    for notice in notices:
        found = places.setdefault((notice.severity, notice.what, notice.do), [])
        if notice.where not in found:
            found.append(notice.where)
    return tuple(
        Notice(severity, _in_one(where), what, do) for (severity, what, do), where in places.items()
    )


def _in_one(places: list[str]) -> str:
    """Name several places: ``run A, B, C and 9 more`` where all are of one kind."""
    if len(places) == 1:
        return places[0]
    kinds = {place.split(" ", 1)[0] for place in places}
    if len(kinds) == 1 and all(" " in place for place in places):
        kind = kinds.pop()
        names = [place.removeprefix(kind + " ") for place in places]
    else:
        kind, names = "", places
    shown, rest = (names, 0) if len(names) <= _MOST_NAMED else (names[:3], len(names) - 3)
    text = ", ".join(shown) + (f" and {rest} more" if rest else "")
    return f"{kind}s {text}" if kind else text


def compose(what: str, *, where: str = "", expected: str = "", do: str = "") -> str:
    """Put the four parts of a message into one line."""
    what, where, expected, do = map(_cut, (what, where, expected, do))
    text = f"{where}: {what}" if where else what
    if expected:
        text += f"; expected {expected}"
    return visible(f"{text}. {do}" if do else f"{text}.")


def _cut(text: str) -> str:
    """Return a text that may quote a file, short enough to be read; what is quoted goes first."""
    text = _NO_WORD.sub(r"\1...\2", _BLANKS.sub("  ", text))
    half = _LONGEST // 2
    return text if len(text) <= _LONGEST else f"{text[:half]} ... {text[-half:]}"


def visible(text: str) -> str:
    """Return what a file calls something, with no character that a terminal would obey.

    Examples
    --------
    >>> visible("T\\x1b[31m")
    'T?[31m'
    """
    return "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in text)
