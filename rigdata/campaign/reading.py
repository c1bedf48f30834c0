"""Reading a TOML table into the fields of a dataclass, every value checked."""

from __future__ import annotations

import datetime
import difflib
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from rigdata.campaign.files import BACKSLASH, Place
from rigdata.campaign.keys import NAME, NAME_WORDS, KeyField, Kind, keys_of

_LARGEST = 1e300  # TOML has whole numbers that no float can hold


def read_values(cls: type, table: object, place: Place) -> dict[str, Any]:
    """Check a table against the keys of the dataclass `cls`.

    Parameters
    ----------
    cls : type
        Dataclass whose fields are the keys.
    table : object
        What TOML holds at this place.
    place : Place
        Where that is, for messages.

    Returns
    -------
    dict
        The values of the keys that are there.  Numbers are floats, files are
        resolved paths, lists of files tuples of them (of one where the file is
        not in a list); tables inside are as TOML gave them.

    Raises
    ------
    CampaignError
        At the first unknown key, missing key, or value that a key may not hold.
    """
    if not isinstance(table, dict):
        raise place.fault(f"is {_named(table)}", expected=Kind.TABLE.value)
    known = keys_of(cls)
    for name in table:
        check_known(name, [field.name for field in known], place)
    missing = [field for field in known if field.required and field.name not in table]
    if missing:
        first = missing[0]
        raise place.fault("the key is missing", key=first.name, expected=first.meaning)
    return {f.name: _checked(f, table[f.name], place) for f in known if f.name in table}


def check_known(name: str, known: Iterable[str], place: Place, *, word: str = "key") -> None:
    """Check that `name` is one of `known`; the error names the nearest of them."""
    allowed = list(known)
    if name in allowed:
        return
    near = nearest(name, allowed)
    do = f"Did you mean {near}?" if near else f"Remove the {word} or correct its name"
    raise place.fault(f"unknown {word}", key=name, expected="one of " + ", ".join(allowed), do=do)


def check_names(names: Iterable[str], place: Place) -> None:
    """Check the names of named tables: usable in file names, and no two alike.

    Raises
    ------
    CampaignError
        When a name has characters that file names may not have, or differs from
        another only in letter case.
    """
    seen: dict[str, str] = {}
    for name in names:
        if not re.fullmatch(NAME, name):
            raise place.fault("is not usable as a name", key=name, expected=NAME_WORDS)
        twin = seen.setdefault(name.casefold(), name)
        if twin != name:
            raise place.fault(
                f"differs from {twin} only in letter case", key=name, do="Rename one of them"
            )


def check_pair(values: Mapping[str, Any], first: str, second: str, place: Place) -> None:
    """Check that two keys stand together or not at all."""
    if (first in values) != (second in values):
        here, gone = (first, second) if first in values else (second, first)
        raise place.fault(
            "the key is missing", key=gone, expected=f"{gone} beside {here}", do="Give both"
        )


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the entry of `known` that `name` most likely stands for."""
    folded = {entry.casefold(): entry for entry in known}
    close = difflib.get_close_matches(name.casefold(), folded, n=1)
    return folded[close[0]] if close else None


def _checked(field: KeyField, value: Any, place: Place) -> Any:
    """Return `value` as the field holds it, or raise."""
    kind = field.kind
    if kind is Kind.TEXT_OR_NUMBER:
        kind = Kind.TEXT if isinstance(value, str) else Kind.NUMBER
    if not _fits(kind, value):
        bare = isinstance(value, str) and kind in (Kind.NUMBER, Kind.WHOLE, Kind.DATE)
        raise place.fault(
            f"is {_named(value)}",
            key=field.name,
            expected=field.expected,
            do="Write it without quotes" if bare else "",
        )
    match kind:
        case Kind.TEXT:
            return _text(field, value, place)
        case Kind.FILE:
            return _file(field, _text(field, value, place), place)
        case Kind.FILES:
            names = [value] if isinstance(value, str) else value
            return tuple(_file(field, _text(field, name, place), place) for name in names)
        case Kind.NUMBER:
            return float(_number(field, value, place))
        case Kind.WHOLE:
            return int(_number(field, value, place))
        case Kind.PAIR:
            low, high = (float(_number(field, item, place)) for item in value)
            if low >= high:
                raise place.fault(f"is {value}", key=field.name, expected="the lower number first")
            return low, high
        case Kind.NUMBERS:
            return tuple(float(_number(field, item, place)) for item in value)
        case _:
            return value


def _fits(kind: Kind, value: Any) -> bool:
    """Tell whether TOML gave the right type; true and false are no numbers."""
    match kind:
        case Kind.TEXT | Kind.FILE:
            return isinstance(value, str)
        case Kind.FILES:
            listed = isinstance(value, list) and bool(value)
            return isinstance(value, str) or (listed and all(isinstance(v, str) for v in value))
        case Kind.NUMBER:
            return type(value) in (int, float)
        case Kind.WHOLE:
            return type(value) is int
        case Kind.PAIR | Kind.NUMBERS:
            numbers = isinstance(value, list) and all(type(v) in (int, float) for v in value)
            return numbers and (kind is Kind.NUMBERS or len(value) == 2)
        case Kind.DATE:
            return type(value) is datetime.date  # a date with a time is a subclass
        case Kind.LIST:
            return isinstance(value, list) and bool(value)
        case Kind.TABLES:
            return isinstance(value, dict) and bool(value)
        case _:
            return isinstance(value, dict)


def _text(field: KeyField, text: str, place: Place) -> str:
    key = field.key
    if key.choices:
        if text not in key.choices:
            near = nearest(text, key.choices)
            do = f"Did you mean '{near}'?" if near else ""
            raise place.fault(f"is {_named(text)}", key=field.name, expected=field.expected, do=do)
        return text
    allowed = "\n\t" if key.free else ""
    control = next((c for c in text if (ord(c) < 32 or ord(c) == 127) and c not in allowed), "")
    if control:
        raise place.fault(
            f"holds the control character {control!r}",
            key=field.name,
            expected=field.expected,
            do=BACKSLASH,
        )
    if not text.strip() and not key.free:
        raise place.fault("is empty", key=field.name, expected=field.meaning)
    if key.pattern and not re.fullmatch(key.pattern, text):
        raise place.fault(f"is {_named(text)}", key=field.name, expected=field.expected)
    return text


def _file(field: KeyField, text: str, place: Place) -> Path:
    path = place.resolve(field.name, text, anywhere=field.key.anywhere)
    if not field.key.may_be_absent and not path.is_file():
        raise place.missing(field.name, text)
    return path


def _number(field: KeyField, value: int | float, place: Place) -> int | float:
    number = value if abs(value) < _LARGEST else math.inf
    if not math.isfinite(number) or not field.key.admits(number):
        raise place.fault(f"is {_named(value)}", key=field.name, expected=field.expected)
    return number


def _named(value: Any) -> str:
    """Say what a TOML value is."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return f"the text '{value}'" if len(value) < 80 else "a long text"
        case int() | float():
            return f"{value:g}" if abs(value) < _LARGEST else "not a finite number"
        case dict():
            return "a table" if value else "an empty table"
        case list():
            return "a list" if value else "an empty list"
        case _:
            return f"{value} (a {type(value).__name__})"
