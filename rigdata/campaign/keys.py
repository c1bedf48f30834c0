"""TOML keys as dataclass fields: one declaration to check and to document them.

A field annotated with a `Key` is a key of the file, of the same name; a field
without one is given by the reader.  The type of the field says what the key
holds, its default whether it may be left out, its `Key` the rest.
"""

from __future__ import annotations

import dataclasses
import datetime
import enum
import functools
import types
import typing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

# Names become file names, column entries and parts of a source's id.
NAME = r"[^\W_](?:[^\x00-\x1f\x7f/\\:*?\"<>|]{0,62}[^\x00-\x1f\x7f/\\:*?\"<>|\s.])?"
NAME_WORDS = r'up to 64 characters, a letter or digit first, none of / \ : * ? " < > |'


class Kind(enum.Enum):
    """What a key holds, in the words of a message."""

    TEXT = "text"
    NUMBER = "a number"
    WHOLE = "a whole number"
    DATE = "a date such as 2026-03-01"
    FILE = "the path of a file"
    FILES = "the path of a file, or a list of such paths"
    PAIR = "two numbers, [low, high]"
    NUMBERS = "a list of numbers"
    TEXT_OR_NUMBER = "text or a number"
    TABLE = "a table"
    TABLES = "named tables"
    LIST = "a list of tables"


@dataclass(frozen=True)
class Key:
    """What a key means and may hold.

    Attributes
    ----------
    doc : str
        What it is, in one sentence.
    unit : str
        Unit of a number.
    low, high, above, below : float or None
        Bounds of a number: `low` and `high` are allowed, `above` and `below` not.
    choices : tuple of str
        The only texts allowed.
    pattern, pattern_words : str
        Regular expression that the whole text must match, and how to say it.
    kind : Kind or None
        Set where the file holds another thing than the field's type says.
    required : bool
        Set where the key must be there although the field has a default.
    anywhere : bool
        The file may lie outside the folder of the file that names it.
    may_be_absent : bool
        The file need not exist.
    free : bool
        Text for people: it may be empty and run over several lines.
    """

    doc: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    above: float | None = None
    below: float | None = None
    choices: tuple[str, ...] = ()
    pattern: str = ""
    pattern_words: str = ""
    kind: Kind | None = None
    required: bool = False
    anywhere: bool = False
    may_be_absent: bool = False
    free: bool = False

    @property
    def limits(self) -> str:
        """The bounds in words, empty when there are none."""
        bounds = (
            ("at least", self.low),
            ("above", self.above),
            ("at most", self.high),
            ("below", self.below),
        )
        return " and ".join(f"{word} {value:g}" for word, value in bounds if value is not None)

    def admits(self, number: float) -> bool:
        """Tell whether `number` keeps the bounds."""
        return (
            (self.low is None or number >= self.low)
            and (self.above is None or number > self.above)
            and (self.high is None or number <= self.high)
            and (self.below is None or number < self.below)
        )


@dataclass(frozen=True)
class KeyField:
    """One key of a table, as its dataclass declares it.

    Attributes
    ----------
    name : str
        The key.
    kind : Kind
        What it holds.
    required : bool
        Whether it must be there.
    default : object
        Value of a key left out; None for a required one.
    key : Key
        Meaning and limits.
    """

    name: str
    kind: Kind
    required: bool
    default: object
    key: Key

    @property
    def expected(self) -> str:
        """What the key may hold, in words."""
        if self.key.choices:
            return "one of " + ", ".join(repr(choice) for choice in self.key.choices)
        parts = (self.kind.value, self.key.pattern_words, self.key.limits)
        words = ", ".join(part for part in parts if part)
        return f"{words} [{self.key.unit}]" if self.key.unit else words

    @property
    def meaning(self) -> str:
        """What the key may hold and what it means, in words."""
        doc = self.key.doc.rstrip(".")
        return f"{self.expected}: {doc[:1].lower()}{doc[1:]}"


@functools.cache
def keys_of(cls: type) -> tuple[KeyField, ...]:
    """Return the keys that the dataclass `cls` declares, in order."""
    hints = typing.get_type_hints(cls, include_extras=True)
    found = []
    for field in dataclasses.fields(cls):
        hint = hints[field.name]
        key = next((m for m in getattr(hint, "__metadata__", ()) if isinstance(m, Key)), None)
        if key is None:
            continue
        given = (field.default, field.default_factory)
        needed = all(default is dataclasses.MISSING for default in given)
        default = None if field.default is dataclasses.MISSING else field.default
        kind = key.kind or _kind_of(typing.get_args(hint)[0])
        found.append(KeyField(field.name, kind, needed or key.required, default, key))
    return tuple(found)


def _kind_of(hint: Any) -> Kind:
    """Return what the file holds for a field of type `hint`."""
    is_union = typing.get_origin(hint) in (typing.Union, types.UnionType)
    parts = typing.get_args(hint) if is_union else (hint,)
    plain = tuple(part for part in parts if part is not types.NoneType)
    if set(plain) == {str, float}:
        return Kind.TEXT_OR_NUMBER
    (inner,) = plain
    if inner == tuple[float, float]:
        return Kind.PAIR
    if inner == tuple[float, ...]:
        return Kind.NUMBERS
    origin = typing.get_origin(inner)
    if origin is not None:
        return Kind.LIST if origin is tuple else Kind.TABLES
    if dataclasses.is_dataclass(inner):
        return Kind.TABLE
    return _PLAIN_KINDS[inner]


_PLAIN_KINDS = {
    str: Kind.TEXT,
    float: Kind.NUMBER,
    int: Kind.WHOLE,
    datetime.date: Kind.DATE,
    Path: Kind.FILE,
}
