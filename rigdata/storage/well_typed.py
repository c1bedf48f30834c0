"""Whether what was read from a file is of the types that its dataclasses declare."""

from __future__ import annotations

import dataclasses
import enum
import functools
import types
import typing
from collections.abc import Mapping
from typing import Any

import numpy as np


def check_types(value: object, kind: Any, where: str = "") -> None:
    """Check a value, and all that is in it, against a type.

    Dataclasses are looked into; a list may stand for a tuple, and a whole number for a
    number.  Types of other sorts are taken as they are.

    Parameters
    ----------
    value : object
    kind : type
        A dataclass, a plain type, or a tuple, mapping, array or union of such.
    where : str
        Names the value in the error.

    Raises
    ------
    TypeError
        When something is of another type; the message says where.

    Examples
    --------
    >>> check_types((1, "a"), tuple[float, int], "pair")
    Traceback (most recent call last):
    ...
    TypeError: pair[1] is 'a'
    """
    origin, inside = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        _check_any(value, inside, where)
    elif origin is typing.Annotated:
        check_types(value, inside[0], where)
    elif origin is tuple:
        _check(isinstance(value, tuple | list), value, where)
        items = typing.cast(tuple[object, ...], value)
        kinds = inside[:1] * len(items) if inside[1:] == (...,) else inside
        _check(len(kinds) == len(items), value, where)
        for i, (item, own) in enumerate(zip(items, kinds, strict=True)):
            check_types(item, own, f"{where}[{i}]")
    elif origin is np.ndarray:
        wanted = np.dtype(typing.get_args(inside[1])[0]).kind
        _check(isinstance(value, np.ndarray) and value.dtype.kind == wanted, value, where)
    elif isinstance(origin, type) and issubclass(origin, Mapping):
        _check(isinstance(value, Mapping), value, where)
        for key, item in typing.cast(Mapping[object, object], value).items():
            check_types(key, inside[0], f"a key of {where}")
            check_types(item, inside[1], f"{where}.{key}")
    elif isinstance(kind, type) and origin is None:
        _check_plain(value, kind, where)


def _check_any(value: object, kinds: tuple[Any, ...], where: str) -> None:
    for kind in kinds:
        try:
            return check_types(value, kind, where)
        except TypeError:
            continue
    return _check(False, value, where)


def _check_plain(value: object, kind: type, where: str) -> None:
    if kind in (int, float):
        number = isinstance(value, int | np.integer) or (
            kind is float and isinstance(value, float | np.floating)
        )
        _check(number and not isinstance(value, bool), value, where)
    elif kind in (str, bool, types.NoneType) or issubclass(kind, enum.Enum):
        _check(isinstance(value, kind), value, where)
    elif dataclasses.is_dataclass(kind):
        _check(isinstance(value, kind), value, where)
        for name, own in _fields(kind).items():
            check_types(getattr(value, name), own, f"{where}.{name}".lstrip("."))


@functools.cache
def _fields(kind: type) -> dict[str, Any]:
    hints = typing.get_type_hints(kind)
    return {field.name: hints[field.name] for field in dataclasses.fields(kind)}


def _check(right: bool, value: object, where: str) -> None:
    if not right:
        shown = repr(value)
        raise TypeError(f"{where} is {shown if len(shown) < 60 else type(value).__name__}")
