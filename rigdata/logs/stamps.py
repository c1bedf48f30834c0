"""Time stamps: a clock with or without date and zone, as loggers write them.

A stamp is told by its form: the text with every digit made a 0.  Stamps of one
form are read together, digit by digit, as columns of an array.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigdata.arrays import BoolArray, IntArray
from rigdata.errors import LogError

DAY_S = 86_400
LONGEST_STAMP = 48
SHORTEST_STAMP = 7
ORDERS = ("dmy", "mdy", "ymd")

Bytes = NDArray[np.uint8]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DATE = (
    r"(?:(?P<first>0{1,4})(?P<between>[-/.])(?P<second>0{1,2})(?P=between)(?P<third>0{1,4})"
    r"|(?P<packed>0{8})"
    r"|(?P<day>0{1,2})[-/. ](?P<name>[a-z]{3})[a-z]{0,6}[-/. ](?P<year>0{4}))"
)
_CLOCK = (
    r"(?:(?P<hour>0{1,4}):(?P<minute>00)(?P<to_second>:(?P<sec>00)(?:[.,](?P<fraction>0{1,9})"
    r"|:(?P<thousandths>000))?)?(?: ?(?P<half>[ap])\.?m\.?)?"
    r"|(?P<hhmmss>000000)(?:[.,](?P<part>0{1,9}))?)"
)
_ZONE = r"(?: ?(?P<zone>z|utc|gmt|(?P<sign>[+-])(?P<zone_hours>00):?(?P<zone_minutes>00)?))?"
_STAMP = re.compile(rf"(?:{_DATE}(?:t| +))?{_CLOCK}{_ZONE}")
_DIGITS = re.compile(r"[0-9]")


@dataclass(frozen=True)
class Form:
    """Where the parts of a stamp stand.

    Attributes
    ----------
    parts : mapping of str to (int, int)
        First digit and the place after the last one, by the name of the part.
    texts : mapping of str to str
        The same as text: names of months, signs, halves of the day.
    """

    parts: Mapping[str, tuple[int, int]]
    texts: Mapping[str, str]

    @property
    def dated(self) -> bool:
        """Whether there is a date."""
        return bool({"first", "packed", "day"} & self.parts.keys())

    @property
    def zoned(self) -> bool:
        """Whether there is a zone."""
        return "zone" in self.parts

    @property
    def needs_order(self) -> bool:
        """Whether day, month and year can be told apart by their order only."""
        return "first" in self.parts and len(self.texts["first"]) < 4

    @property
    def fraction(self) -> tuple[int, int] | None:
        """Where the digits below a second stand."""
        names = ("fraction", "thousandths", "part")
        return next((self.parts[name] for name in names if name in self.parts), None)


@functools.lru_cache(maxsize=1024)
def form_of(text: str) -> Form | None:
    """Return the form of a stamp whose digits are all 0, None where the text is no stamp."""
    found = _STAMP.fullmatch(text.lower())
    if found is None:
        return None
    texts = {name: part for name, part in found.groupdict().items() if part is not None}
    form = Form({name: found.span(name) for name in texts}, texts)
    if "hhmmss" in texts:
        return form if "packed" in texts else None
    if not form.dated and "sec" not in texts:
        return None  # hours and minutes, or minutes and seconds
    return None if texts.get("name", "jan") not in _MONTHS else form


def is_stamp(cell: str) -> bool:
    """Tell whether a cell is a time stamp.

    Examples
    --------
    >>> is_stamp("2026-03-04T10:15:00,125+01:00"), is_stamp("10:15:00"), is_stamp("10:15")
    (True, True, False)
    """
    return SHORTEST_STAMP <= len(cell) <= LONGEST_STAMP and _form(cell) is not None


@dataclass(frozen=True)
class Clock:
    """How the stamps of a log are to be read.

    Attributes
    ----------
    order : str
        Order of day, month and year, such as ``dmy``.
    dated, zoned : bool
        Whether the stamps have a date, and a zone.
    origin_s : int
        The whole second of the first stamp, which is time 0: since 1970, or since
        midnight where there is no date. [s]
    """

    order: str
    dated: bool
    zoned: bool
    origin_s: int

    @property
    def words(self) -> str:
        """How the time is written, in words."""
        parts = ["date and clock" if self.dated else "clock without a date"]
        if self.dated:
            parts.append({"dmy": "day first", "mdy": "month first"}.get(self.order, "year first"))
        parts.append("with zone" if self.zoned else "without zone")
        return ", ".join(parts)

    def whole_seconds(self, cells: Bytes, form: Form) -> tuple[IntArray, BoolArray]:
        """Read stamps of one form.

        Parameters
        ----------
        cells : (w, n) uint8 array
            The stamps, one a column.
        form : Form
            Their form.

        Returns
        -------
        seconds : (n,) int array
            Whole seconds since 1970 in UTC, as the stamps say where they have no
            zone, or since midnight where they have no date. [s]
        sound : (n,) bool array
            Which of them are times.
        """
        n = cells.shape[1]
        if (form.dated, form.zoned) != (self.dated, self.zoned):
            return np.zeros(n, np.int64), np.zeros(n, np.bool_)
        clock, sound = _clock(cells, form, dated=self.dated)
        if not self.dated:
            return clock, sound
        year, month, day = _date(cells, form, self.order)
        sound &= (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1)
        start = (year - 1970).astype("M8[Y]").astype("M8[M]") + np.where(sound, month - 1, 0)
        date = start.astype("M8[D]") + np.where(sound, day - 1, 0)
        sound &= date.astype("M8[M]") == start  # the 31st of a short month is none
        return date.astype(np.int64) * DAY_S + clock - _zone(cells, form), sound

    def elapsed(self, cell: str) -> float | None:
        """Return the seconds from time 0 to one stamp, None where it is none. [s]"""
        text = cell.encode("latin-1", "replace")
        form = _form(cell) if is_stamp(cell) else None
        if form is None:
            return None
        whole, sound = self.whole_seconds(np.frombuffer(text, np.uint8)[:, None], form)
        below = float("0." + text[slice(*form.fraction)].decode()) if form.fraction else 0.0
        return float(whole[0] - self.origin_s) + below if sound[0] else None


def find_clock(cells: Sequence[str], stated: str | None, *, where: str) -> Clock | None:
    """Find out how the stamps of a column are written.

    Parameters
    ----------
    cells : sequence of str
        Cells of the time, the first of which decides whether they are stamps.
    stated : str or None
        Order of day, month and year where the rig file states it.

    Returns
    -------
    Clock or None
        None where the first cell is no stamp.

    Raises
    ------
    LogError
        When the order of day and month is in doubt, or the first stamp is no time.
    """
    if not cells or not is_stamp(cells[0]):
        return None
    form = _form(cells[0])
    assert form is not None
    order = stated or "ymd"
    if form.needs_order:
        order = stated or _order([cell for cell in cells if is_stamp(cell)], where)
    clock = Clock(order, form.dated, form.zoned, 0)
    first = clock.elapsed(cells[0])
    if first is None:
        raise LogError(
            f"'{cells[0]}' is no time" + (f" in the order {order}" if form.needs_order else ""),
            where=where,
            expected="a date and a clock that exist",
            do="Correct date_order in [log] of the rig file" if stated else "Look at this line",
        )
    return Clock(order, form.dated, form.zoned, int(first // 1))


def _order(cells: Sequence[str], where: str) -> str:
    """Return the one order in which all dates exist."""
    possible = [
        order
        for order in ORDERS
        if all(_exists(cell, order) for cell in dict.fromkeys(c.split()[0] for c in cells))
    ]
    if len(possible) == 1:
        return possible[0]
    choices = " or ".join(f'date_order = "{order}"' for order in possible or ORDERS)
    raise LogError(
        f"the order of day and month in '{cells[0]}' is in doubt",
        where=where,
        expected="dates such as 2026-03-04, or a stated order",
        do=f"State {choices} in [log] of the rig file",
    )


def _exists(date: str, order: str) -> bool:
    parts = re.split(r"[-/.T]", date)[:3]
    day, month = int(parts[order.index("d")]), int(parts[order.index("m")])
    return 1 <= day <= 31 and 1 <= month <= 12


def _form(cell: str) -> Form | None:
    return form_of(_DIGITS.sub("0", cell))


def _number(cells: Bytes, form: Form, part: str) -> IntArray:
    start, stop = form.parts[part]
    return digits(cells, start, stop)


def digits(cells: Bytes, start: int, stop: int) -> IntArray:
    """Return the number that the digits from `start` to before `stop` of each cell make."""
    number = np.zeros(cells.shape[1], np.int64)
    for place in range(start, stop):
        number = 10 * number + (cells[place] - ord("0"))
    return number


def _clock(cells: Bytes, form: Form, *, dated: bool) -> tuple[IntArray, BoolArray]:
    if "hhmmss" in form.parts:
        start, _ = form.parts["hhmmss"]
        hour, minute, second = (digits(cells, start + i, start + i + 2) for i in (0, 2, 4))
    else:
        hour, minute = _number(cells, form, "hour"), _number(cells, form, "minute")
        second = _number(cells, form, "sec") if "sec" in form.parts else np.zeros_like(hour)
    sound = (minute < 60) & (second <= 60)  # 60: a leap second
    if "half" in form.texts:
        sound &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + (12 if form.texts["half"] == "p" else 0)
    elif dated:
        sound &= hour < 24
    return 3600 * hour + 60 * minute + second, sound


def _date(cells: Bytes, form: Form, order: str) -> tuple[IntArray, IntArray, IntArray]:
    if "packed" in form.parts:
        start, _ = form.parts["packed"]
        year = digits(cells, start, start + 4)
        return year, digits(cells, start + 4, start + 6), digits(cells, start + 6, start + 8)
    if "day" in form.parts:
        day, year = _number(cells, form, "day"), _number(cells, form, "year")
        return year, np.full_like(day, 1 + _MONTHS.index(form.texts["name"])), day
    order = order if form.needs_order else "ymd"
    parts = dict(zip(order, ("first", "second", "third"), strict=True))
    found = {letter: _number(cells, form, part) for letter, part in parts.items()}
    year_digits = len(form.texts[parts["y"]])
    year = found["y"] + (2000 if year_digits == 2 else 0)
    return (year if year_digits in (2, 4) else np.zeros_like(year)), found["m"], found["d"]


def _zone(cells: Bytes, form: Form) -> IntArray:
    """Return how far the clocks of the zone are ahead of UTC. [s]"""
    ahead = np.zeros(cells.shape[1], np.int64)
    if "zone_hours" in form.parts:
        ahead += 3600 * _number(cells, form, "zone_hours")
    if "zone_minutes" in form.parts:
        ahead += 60 * _number(cells, form, "zone_minutes")
    return -ahead if form.texts.get("sign") == "-" else ahead
