"""Traits compared, in and out of traits.json."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigdata.comparison.trait_differences import TraitDifference
from rigdata.comparison.trait_kinds import Measured, Side
from rigdata.friction.results import Group
from rigdata.storage.json_files import entries, read_json
from rigdata.storage.well_typed import check_types

FORMAT = 1
_SIDES = ("group", "against", "difference")


def trait_rows(traits: Sequence[TraitDifference]) -> list[dict[str, Any]]:
    """Return each comparison as plain values for JSON."""
    return [
        {
            "material": one.group.material,
            "state": one.group.state,
            "against_material": one.against.material,
            "against_state": one.against.state,
            **{name: value for name, value in asdict(one).items() if name not in _SIDES},
        }
        for one in traits
    ]


def traits_to_dict(traits: Sequence[TraitDifference]) -> dict[str, Any]:
    """Return the comparisons as the content of traits.json."""
    return {"format": FORMAT, "traits": trait_rows(traits)}


def read_traits(path: Path) -> tuple[TraitDifference, ...]:
    """Read a traits.json.

    Raises
    ------
    ResultError
        When the file is missing, is of another format or lacks an entry.
    """
    data, do = read_json(path), "Compare the groups again"
    with entries(data, FORMAT, of="traits", where=str(path), do=do) as found:
        traits = tuple(_difference(row) for row in found["traits"])
        check_types(traits, tuple[TraitDifference, ...], "traits")
        return traits


def _difference(row: Mapping[str, Any]) -> TraitDifference:
    names = ("trait", "unit", "label", "neutral", "p", "verdict", "meaning", "words")
    return TraitDifference(
        group=Group(row["material"], row["state"]),
        against=Group(row["against_material"], row["against_state"]),
        measured=None if row["measured"] is None else _measured(row["measured"]),
        **{name: row[name] for name in names},
    )


def _measured(data: Mapping[str, Any]) -> Measured:
    sides = {name: Side(**data[name]) for name in _SIDES}
    return Measured(**{**data, **sides})
