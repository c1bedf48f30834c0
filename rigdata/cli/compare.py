"""``rigdata compare``: materials, batches and states as ratios."""

from __future__ import annotations

from pathlib import Path

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import (
    campaign_or_results,
    force_option,
    json_option,
    margin_option,
)
from rigdata.cli.terminal import finish, show_json, show_notices
from rigdata.cli.verdicts import ratio_rows, ratio_words
from rigdata.pipeline.folder import COMPARISON_FILE
from rigdata.pipeline.stages import compare_into


@click.command("compare")
@campaign_or_results
@force_option
@margin_option
@json_option
def command(campaign: Path, out: Path | None, force: bool, margin: float, as_json: bool) -> None:
    """Compare the groups of CAMPAIGN with its baseline and write comparison.csv.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. The
    points and fits come from the results folder.
    """
    ratios, notices, folder = compare_into(read_campaign(campaign), out, force=force, margin=margin)
    if as_json:
        show_json("compare", notices, folder=str(folder), ratios=ratio_rows(ratios))
    else:
        click.echo(ratio_words(ratios))
        click.echo(f"Wrote {folder / COMPARISON_FILE}.")
        show_notices(notices)
    finish(notices)
