"""The wear of a campaign as plain values, for wear.json and for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rigdata.storage.json_files import finite
from rigdata.wear.assess import MemberWear, Wear
from rigdata.wear.history import History
from rigdata.wear.life import LEVEL, ServiceLife

FORMAT = 1


def wear_to_dict(wear: Wear) -> dict[str, Any]:
    """Return the wear as plain values for JSON; what has no value, or no bound, is None."""
    return {
        "format": FORMAT,
        "repeatability": [asdict(one) for one in wear.repeatability],
        "members": [_member(one) for one in wear.members],
        "histories": [_history(one) for one in wear.histories.values()],
        "lives": [_life(one) for one in wear.lives],
        "after_heat": [
            {"material": group.material, "state": group.state, **asdict(finding)}
            for group, finding in wear.recoveries.items()
        ],
    }


def _member(member: MemberWear) -> dict[str, Any]:
    rate = member.rate
    return {
        "material": rate.material,
        "member": rate.member,
        "unit": f"um/{rate.per}",
        "rate": rate.rate,
        "u": rate.u,
        "low": rate.low,
        "high": rate.high,
        "pack_sd": rate.pack_sd,
        "plate_sd": rate.plate_sd,
        "reading_sd_um": rate.reading_sd_um,
        "bend": float(rate.bend),
        "n_packs": rate.n_packs,
        "n_plates": rate.n_plates,
        "n_readings": rate.n_readings,
        "specific_mm3_nm": finite(member.specific),
        "specific_low_mm3_nm": finite(member.specific_low),
        "specific_high_mm3_nm": finite(member.specific_high),
        "mass_over_thickness": _mass(member),
        "roughness_first_um": finite(member.roughness_um[0]),
        "roughness_last_um": finite(member.roughness_um[1]),
    }


def _mass(member: MemberWear) -> dict[str, Any] | None:
    if member.mass is None:
        return None
    found = asdict(member.mass)
    return found | {name: finite(found[name]) for name in ("ratio", "low", "high")}


def _history(course: History) -> dict[str, Any]:
    levels = course.levels
    return {
        "material": str(levels.material[0]),
        "unit": f"1/{course.per}",
        "mu_new": course.mu_new,
        "slope": course.slope,
        "u": course.u,
        "low": course.low,
        "high": course.high,
        "pack_sd": course.pack_sd,
        "bend": float(course.bend),
        "packs": [
            {"pack": str(pack), "state": str(state), "hours": hours, "work_mj": finite(work),
             "mu": mu}
            for pack, state, hours, work, mu in zip(
                levels.pack, levels.state, levels.hours.tolist(), course.work_mj.tolist(),
                levels.mu.tolist(), strict=True,
            )
        ],
    }  # fmt: skip


def _life(life: ServiceLife) -> dict[str, Any]:
    return {
        "material": life.material,
        "duty": None if life.duty is None else life.duty.name,
        "level": LEVEL,
        "limits": [
            {
                "what": limit.what,
                "limit": limit.limit,
                "hours": finite(limit.hours),
                "low_hours": finite(limit.low),
                "high_hours": finite(limit.high),
                "tested_hours": limit.tested_hours,
            }
            for limit in life.limits
        ],
        "words": life.words,
        "plan": life.plan,
    }
