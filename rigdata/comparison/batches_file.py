"""Batch checks in and out of batches.json."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigdata.comparison.batches import BatchCheck
from rigdata.errors import ResultError
from rigdata.storage import read_json

FORMAT = 1
_TUPLES = ("against", "tolerance", "outside")


def batches_to_dict(checks: Sequence[BatchCheck]) -> dict[str, Any]:
    """Return the checks as plain values for JSON."""
    rows = [asdict(check) for check in checks]
    return {
        "format": FORMAT,
        "batches": [row | {name: list(row[name]) for name in _TUPLES} for row in rows],
    }


def read_batches(path: Path) -> tuple[BatchCheck, ...]:
    """Read a batches.json.

    Raises
    ------
    ResultError
        When the file is missing, is of another format or lacks an entry.
    """
    data = read_json(path)
    try:
        if data["format"] != FORMAT:
            raise ValueError(f"format {data['format']}")
        rows = data["batches"]
        return tuple(
            BatchCheck(**row | {name: tuple(row[name]) for name in _TUPLES}) for row in rows
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ResultError(
            f"an entry of the batches is missing or wrong ({error})",
            where=str(path),
            do="Compare the batches again",
        ) from error
