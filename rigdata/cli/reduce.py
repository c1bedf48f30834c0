"""``rigdata reduce``: from the logs to friction points."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.engine_options import engine_options
from rigdata.cli.options import (
    cache_option,
    campaign_argument,
    force_option,
    json_option,
    out_option,
)
from rigdata.cli.terminal import finish, progress, say, show_json, show_notices
from rigdata.pipeline.stages import reduce_into
from rigdata.reduction.points_file import BUDGET_FILE, POINTS_FILE


@click.command("reduce")
@campaign_argument
@out_option
@force_option
@cache_option
@engine_options
@json_option
def command(campaign: Path, out: Path | None, as_json: bool, **options: Any) -> None:
    """Turn the logs of CAMPAIGN into points.csv and budget.csv.

    CAMPAIGN is a campaign.toml or its folder. Results of later stages are
    dropped: they rest on older points.
    """
    read = read_campaign(campaign)
    with progress(quiet=as_json) as show:
        reduction, folder = reduce_into(read, out, progress=show, **options)
    points = reduction.points
    used = int(points.used.sum())
    if as_json:
        show_json(
            "reduce",
            reduction.notices,
            folder=str(folder),
            files=[POINTS_FILE, BUDGET_FILE],
            points=len(points),
            used=used,
            left_out=dict(reduction.left_out),
        )
    else:
        runs = len(set(points.run.tolist()))
        say(f"{len(points)} friction points from {runs} runs, {used} of them used.")
        say(f"Wrote {folder / POINTS_FILE} and {BUDGET_FILE} beside it.")
        show_notices(reduction.notices)
    finish(reduction.notices)
