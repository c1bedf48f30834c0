"""TOML out, for the files that are written for people to go on with."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping

TomlValue = str | float | int | datetime.date | tuple[float, float]


def toml_table(title: str, keys: Mapping[str, TomlValue]) -> str:
    """Return one TOML table as text; the top table has no title."""
    lines = [title] if title else []
    lines += [f"{name} = {_toml_literal(value)}" for name, value in keys.items()]
    return "\n".join(lines) + "\n"


def _toml_literal(value: TomlValue) -> str:
    if isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
        return "".join(c if c.isprintable() else _escaped(c) for c in text)
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, tuple):
        return "[" + ", ".join(repr(item) for item in value) + "]"
    return repr(value)


def _escaped(character: str) -> str:
    number = ord(character)
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
