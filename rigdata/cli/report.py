"""``rigdata report``: one HTML file from the results."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.engine_options import workers_option
from rigdata.cli.options import cache_option, campaign_or_results, force_option, json_option
from rigdata.cli.terminal import finish, progress, say, show_json, show_notices
from rigdata.pipeline.folder import REPORT_FILE
from rigdata.pipeline.reporting import report_into


@click.command("report")
@campaign_or_results
@force_option
@cache_option
@workers_option
@json_option
def command(campaign: Path, out: Path | None, as_json: bool, **options: Any) -> None:
    """Write report.html for CAMPAIGN from what the results folder holds.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. Points,
    fits, ratios and tables come from the results folder; the logs are read
    again for the traces.
    """
    with progress(quiet=as_json) as show:
        notices, folder = report_into(read_campaign(campaign), out, progress=show, **options)
    if as_json:
        show_json("report", notices, report=str(folder / REPORT_FILE))
    else:
        say(f"Wrote {folder / REPORT_FILE}.")
        show_notices(notices)
    finish(notices)
