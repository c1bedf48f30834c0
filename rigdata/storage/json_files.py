"""JSON in and out: the same text for the same data, and one message for what is wrong."""

from __future__ import annotations

import contextlib
import datetime
import enum
import json
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from rigdata.errors import ResultError, RigdataError
from rigdata.storage.files import read_whole, write_text

MOST_BYTES = 500_000_000
_MOST_DIGITS = 18  # of a whole number; an array of ours holds 64 bits of it
_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")


def json_text(data: object) -> str:
    """Return `data` as JSON text with sorted keys, the same for the same data.

    Mappings, sequences, numpy arrays and numbers, dates, paths and enum members
    are written as what they stand for.

    Raises
    ------
    ResultError
        When a number is not finite; the message says where it stands.
    TypeError
        When something in `data` has no JSON form.
    """
    plain = _plain(data, "")
    return json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=2, sort_keys=True) + "\n"


def write_json(path: Path, data: object) -> None:
    """Write `data` as `json_text` to `path`, whole or not at all."""
    write_text(path, json_text(data))


def finite(value: float) -> float | None:
    """Return a number as JSON can hold it: None where it has no value or no bound."""
    return float(value) if math.isfinite(value) else None


@contextlib.contextmanager
def entries(data: Any, number: int, *, of: str, where: str, do: str) -> Iterator[dict[str, Any]]:
    """Yield what a JSON file of ours holds; what is missing or wrong in it is one message.

    `of` says in a word what the data are, `where` their file, `do` how to make it anew.

    Raises
    ------
    ResultError
        When the format is not `number`, or the block stumbles over an entry.
    """
    found = data.get("format") if isinstance(data, dict) else type(data).__name__
    if found != number:
        raise ResultError(
            f"format {found} of the {of} is unknown",
            where=where,
            expected=f"format {number}",
            do=do,
        )
    try:
        yield data
    except RigdataError as fault:  # of what an entry means, which knows no file
        if fault.where:
            raise
        raise ResultError(fault.what, where=where, expected=fault.expected, do=do) from fault
    except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
        raise ResultError(
            f"an entry of the {of} is missing or wrong ({error})", where=where, do=do
        ) from error


def read_json(path: Path) -> Any:
    """Read a JSON file.

    Raises
    ------
    ResultError
        When the file is missing, is not JSON, or holds NaN or an infinity.
    """
    try:
        text = read_whole(path, MOST_BYTES).decode("utf-8-sig")
        data = json.loads(text, parse_constant=_no_constant, parse_float=_float, parse_int=_int)
        if _SURROGATE.search(text):
            json.dumps(data, ensure_ascii=False).encode()  # stumbles over half a pair
        return data
    except FileNotFoundError:
        raise ResultError(
            "the file does not exist",
            where=str(path),
            do="Run the step that writes it, or correct the path",
        ) from None
    except OSError as error:
        raise ResultError(f"cannot be read ({error.strerror})", where=str(path)) from error
    except UnicodeError:
        raise ResultError("is not UTF-8 text", where=str(path), expected="a JSON file") from None
    except RecursionError:
        raise ResultError("is nested too deeply", where=str(path)) from None
    except json.JSONDecodeError as error:
        raise ResultError(
            f"is not JSON: {error.msg}",
            where=f"{path}, line {error.lineno}, column {error.colno}",
            do="Write the file again with the step that made it",
        ) from None
    except ValueError as error:
        raise ResultError(str(error), where=str(path), expected="finite numbers or null") from None


def _plain(value: object, where: str) -> object:
    """Return `value` made of what JSON knows; `where` names it in errors."""
    if isinstance(value, enum.Enum):
        return _plain(value.value, where)
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist(), where)
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise TypeError(f"keys of {where or 'the data'} must be text")
        return {key: _plain(item, f"{where}.{key}".lstrip(".")) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, f"{where}[{i}]") for i, item in enumerate(value)]
    if isinstance(value, float) and not math.isfinite(value):
        raise ResultError(
            f"{value} has no place in JSON", where=where or "data", expected="a finite number"
        )
    if isinstance(value, datetime.date):
        return value.isoformat()
    return value.as_posix() if isinstance(value, PurePath) else value


def _float(text: str) -> float:
    value = float(text)
    if math.isinf(value):
        raise ValueError(f"holds {text[:40]}, which is too large for a number")
    return value


def _int(text: str) -> int:
    if len(text) > _MOST_DIGITS:
        raise ValueError(f"holds {text[:40]}, which is too large for a number")
    return int(text)


def _no_constant(name: str) -> None:
    raise ValueError(f"holds {name}, which is not JSON")
