"""``rigdata run``: everything, from the logs to tables and report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rigdata.cli.options import (
    campaign_argument,
    force_option,
    json_option,
    laws_option,
    margin_option,
    out_option,
    tolerance_option,
)
from rigdata.cli.terminal import finish, paragraph, progress, show_json, show_notices
from rigdata.cli.verdicts import coefficient_words, condition_words, fit_rows, ratio_rows
from rigdata.pipeline.folder import REPORT_FILE
from rigdata.pipeline.run import CampaignResult, run_campaign


@click.command("run")
@campaign_argument
@out_option
@force_option
@laws_option
@margin_option
@tolerance_option
@json_option
def command(campaign: Path, as_json: bool, laws: tuple[str, ...], **options: Any) -> None:
    """Do all of it for CAMPAIGN: reduce, fit, compare, tables and report.

    CAMPAIGN is a campaign.toml or its folder. Prints the verdicts and where the
    report lies.
    """
    with progress("rigdata", quiet=as_json) as show:
        result = run_campaign(campaign, laws=laws or None, progress=show, **options)
    if as_json:
        show_json(
            "run",
            result.notices,
            folder=str(result.folder),
            report=str(result.folder / REPORT_FILE),
            coefficients=[*fit_rows(result.fits, "kinetic"), *fit_rows(result.static, "static")],
            ratios=ratio_rows(result.ratios),
        )
    else:
        click.echo(verdict(result))
        show_notices(result.notices)
    finish(result.notices)


def verdict(result: CampaignResult) -> str:
    """Return what was found, in plain words."""
    campaign = result.campaign
    lines = [f"{campaign.name}, at {condition_words(campaign.reference)}:"]
    lines += [coefficient_words(fit, "kinetic") for fit in result.fits.values()]
    lines += [coefficient_words(fit, "static") for fit in result.static.values()]
    lines += [paragraph(ratio.words, indent="  ") for ratio in result.ratios]
    lines.append(f"Report: {result.folder / REPORT_FILE}")
    return "\n".join(lines)
