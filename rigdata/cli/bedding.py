"""``rigdata bedding``: after how much sliding each pack was bedded in."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click
import numpy as np

from rigdata.bedding.bedding_file import bedding_to_dict
from rigdata.bedding.results import CANNOT_TELL, NOT_YET, PackBedding, TimeToBed
from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import campaign_or_results, force_option, json_option, steady_option
from rigdata.cli.terminal import aligned, finish, paragraph, say, show_json, show_notices
from rigdata.pipeline.folder import BEDDING_FILE
from rigdata.pipeline.stages import bedding_into


@click.command("bedding")
@campaign_or_results
@force_option
@steady_option
@json_option
def command(campaign: Path, out: Path | None, force: bool, steady: float, as_json: bool) -> None:
    """Say after how much sliding each pack of CAMPAIGN was steady; write bedding.json.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. The
    friction points come from points.csv in the results folder, those of bedding
    runs and of all others. What they were taken at is taken out; what is left
    against sliding work shows from where on mu keeps its level.
    """
    bedding, notices, folder = bedding_into(
        read_campaign(campaign), out, force=force, steady=steady
    )
    if as_json:
        show_json("bedding", notices, folder=str(folder), **bedding_to_dict(bedding))
    else:
        for group in bedding.groups.values():
            say(paragraph(_sentence(group)))
        if bedding.groups:
            say()
        say(
            paragraph(
                f"Sliding work from which mu is steady within {100.0 * steady:g} %, slips, minutes "
                "of sliding and runs begun by then, and how far off mu was at the first point:"
            )
        )
        say(_table(bedding.packs) + "\n")
        say(f"Wrote {folder / BEDDING_FILE}.")
        show_notices(notices)
    finish(notices)


def _sentence(group: TimeToBed) -> str:
    others = f" ({group.n_others} of the packs did not show it)" if group.n_others else ""
    return f"{group.words}{others}."


def _table(packs: Iterable[PackBedding]) -> str:
    """Return one row a pack; a work that the tests do not show is a dash."""
    headers = ("pack", "kJ", "95 % interval", "slips", "min", "runs", "at first", "verdict")
    rows: list[tuple[str, ...] | str] = []
    group = None
    for one in packs:
        if one.group != group:
            group = one.group
            rows.append(str(group))
        rows.append(
            (
                one.pack,
                f"{one.work_kj:.0f}" if one.runs else "-",
                _ends(one),
                f"{one.engagements:.0f}" if one.runs else "-",
                f"{one.sliding_min:.1f}" if one.runs else "-",
                f"{one.runs} of {one.n_runs}" if one.runs else f"{one.n_runs}",
                f"{100.0 * one.change:+.1f} %" if np.isfinite(one.change) else "-",
                _verdict(one),
            )
        )
    return aligned(headers, rows)


def _verdict(one: PackBedding) -> str:
    words = one.words if one.verdict in (CANNOT_TELL, NOT_YET) else one.verdict
    return f"{words}; some runs were not read, so it did more work" if one.least else words


def _ends(one: PackBedding) -> str:
    if np.isnan(one.low_kj):
        return "-"
    if np.isinf(one.high_kj):
        return f"from {one.low_kj:.0f}"
    return f"{one.low_kj:.0f} to {one.high_kj:.0f}"
