"""Batch checks in and out of batches.json."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigdata.comparison.batches import BatchCheck
from rigdata.storage.json_files import entries, read_json
from rigdata.storage.well_typed import check_types

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
    data, do = read_json(path), "Compare the batches again"
    with entries(data, FORMAT, of="batches", where=str(path), do=do) as found:
        checks = tuple(
            BatchCheck(**row | {name: tuple(row[name]) for name in _TUPLES})
            for row in found["batches"]
        )
        check_types(checks, tuple[BatchCheck, ...], "batches")
        return checks
