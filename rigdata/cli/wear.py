"""``rigdata wear``: what wears, how fast, and when a pack must come out."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click
import numpy as np

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import campaign_or_results, force_option, json_option
from rigdata.cli.terminal import (
    aligned,
    finish,
    interval,
    paragraph,
    rounded,
    say,
    show_json,
    show_notices,
)
from rigdata.pipeline.folder import WEAR_FILE
from rigdata.pipeline.stages import wear_into
from rigdata.wear.assess import MemberWear, Wear
from rigdata.wear.history import History
from rigdata.wear.life import LEVEL, MU, LimitLife, ServiceLife
from rigdata.wear.wear_file import wear_to_dict


@click.command("wear")
@campaign_or_results
@force_option
@json_option
def command(campaign: Path, out: Path | None, force: bool, as_json: bool) -> None:
    """Say how the plates of CAMPAIGN wear, which go first and when; write wear.json.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. Plate
    readings come from inspections.csv beside the campaign, the coefficients of
    packs of different service from its fits, limits and duties from its
    [materials.NAME.service] and [duties.NAME].
    """
    wear, folder = wear_into(read_campaign(campaign), out, force=force)
    if as_json:
        show_json("wear", wear.notices, folder=str(folder), **wear_to_dict(wear))
    else:
        for part in _parts(wear):
            say(part + "\n")
        say(f"Wrote {folder / WEAR_FILE}.")
        show_notices(wear.notices)
    finish(wear.notices)


def _parts(wear: Wear) -> Iterable[str]:
    """Yield what the terminal shows: the answers first, then what they rest on."""
    for life in wear.lives:
        yield f"{paragraph(life.words + '.')}\n{paragraph(life.plan + '.')}"
    if wear.lives:
        yield _life_table(wear.lives)
    if wear.members:
        yield "Wear, mean of the packs with its 95 % interval:\n" + _rate_table(wear.members)
    if wear.histories:
        yield (
            "Coefficient at the reference condition against service, with 95 % intervals:\n"
            + _history_table(wear.histories.values())
        )
    if wear.recoveries:
        told = (paragraph(f"{g}: {f.words}.", indent="  ") for g, f in wear.recoveries.items())
        yield "What heat took for good, and what came back:\n" + "\n".join(told)
    if wear.repeatability:
        found = ", ".join(f"{r.quantity} {r.sd:.2g}" for r in wear.repeatability)
        yield paragraph(f"One reading repeats within a standard deviation of: {found}.")


def _life_table(lives: Iterable[ServiceLife]) -> str:
    headers = ("limit", "hours", f"{100 * LEVEL:.0f} % of packs", "tested to")
    rows: list[tuple[str, ...] | str] = []
    for life in lives:
        duty = f" on {life.duty.name}" if life.duty is not None else ""
        rows.append(f"{life.material}{duty}")
        rows += [_life_row(limit) for limit in life.limits]
    return aligned(headers, rows)


def _life_row(limit: LimitLife) -> tuple[str, ...]:
    named = f"mu {limit.limit:g}" if limit.what == MU else f"{limit.what}, {limit.limit:g} mm"
    ends = "-" if np.isnan(limit.low) else f"{_hours(limit.low)} to {_hours(limit.high)}"
    return named, _hours(limit.hours), ends, _hours(limit.tested_hours)


def _hours(value: float) -> str:
    return f"{value:.0f} h" if np.isfinite(value) else "no end"


def _rate_table(members: Iterable[MemberWear]) -> str:
    headers = ("material, plates", "um per", "loss", "interval", "k in 1e-6 mm3/(N m)")
    rows = []
    for member in members:
        rate = member.rate
        ends = 1e6 * member.specific_low, 1e6 * member.specific_high
        rows.append(
            (
                f"{rate.material}, {rate.member}",
                rate.per,
                rounded(rate.rate, rate.u),
                interval(rate.low, rate.high, rate.u),
                interval(*ends, (ends[1] - ends[0]) / 4.0),
            )
        )
    return aligned(headers, rows)


def _history_table(histories: Iterable[History]) -> str:
    headers = ("material", "mu new", "change", "interval", "per", "packs differ")
    rows = []
    for course in histories:
        per = 100.0
        u = 100.0 * per * course.u
        rows.append(
            (
                str(course.levels.material[0]),
                f"{course.mu_new:.4f}",
                f"{rounded(100.0 * per * course.slope, u)} %",
                f"{interval(100.0 * per * course.low, 100.0 * per * course.high, u)} %",
                f"{per:g} {course.per}",
                f"{100.0 * course.pack_sd:.1f} %",
            )
        )
    return aligned(headers, rows)
