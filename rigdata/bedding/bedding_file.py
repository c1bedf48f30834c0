"""The bedding-in of a campaign as plain values, for bedding.json and for programs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rigdata.bedding.assess import WITHIN
from rigdata.bedding.results import Bedding, PackBedding, TimeToBed
from rigdata.storage.json_files import entries, finite, read_json

FORMAT = 1


def bedding_to_dict(bedding: Bedding) -> dict[str, Any]:
    """Return the bedding-in as plain values for JSON; what has no value, or no bound, is None."""
    return {
        "format": FORMAT,
        "steady_within": bedding.steady,
        "packs": [_pack(one) for one in bedding.packs],
        "groups": [_group(one) for one in bedding.groups.values()],
    }


def read_steady(path: Path) -> float:
    """Return how near to its level mu counted as steady in a bedding.json.

    The usual tolerance where there is no such file.

    Raises
    ------
    ResultError
        When the file is of another format or lacks the entry.
    """
    if not path.is_file():
        return WITHIN
    data, do = read_json(path), "Run 'rigdata bedding' again"
    with entries(data, FORMAT, of="bedding-in", where=str(path), do=do) as found:
        return float(found["steady_within"])


def _pack(one: PackBedding) -> dict[str, Any]:
    return {
        "pack": one.pack,
        "material": one.group.material,
        "state": one.group.state,
        "verdict": one.verdict,
        "words": one.words,
        "work_to_bed_kj": finite(one.work_kj),
        "low_kj": finite(one.low_kj),
        "high_kj": finite(one.high_kj),
        "work_to_bed_j_mm2": finite(one.work_j_mm2),
        "engagements": finite(one.engagements),
        "sliding_min": finite(one.sliding_min),
        "runs": one.runs,
        "change": finite(one.change),
        "u_change": finite(one.u_change),
        "work_is_least": one.least,
        "n_points": one.n_points,
        "n_runs": one.n_runs,
    }


def _group(one: TimeToBed) -> dict[str, Any]:
    return {
        "material": one.group.material,
        "state": one.group.state,
        "n_packs": one.n_packs,
        "n_other_packs": one.n_others,
        "work_to_bed_kj": one.work_to_bed_kj,
        "low_kj": finite(one.low),
        "high_kj": finite(one.high),
        "next_pack_low_kj": finite(one.next_pack_low),
        "next_pack_high_kj": finite(one.next_pack_high),
        "work_to_bed_j_mm2": one.work_j_mm2,
        "words": one.words,
    }
