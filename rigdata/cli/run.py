"""``rigdata run``: everything, from the logs to tables and report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rigdata.cli.engine_options import engine_options
from rigdata.cli.options import (
    cache_option,
    campaign_argument,
    force_option,
    json_option,
    keep_bedding_option,
    laws_option,
    margin_option,
    out_option,
    pool_scatter_option,
    steady_option,
    tolerance_option,
)
from rigdata.cli.terminal import finish, progress, say, show_json, show_notices
from rigdata.cli.verdicts import (
    chatter_words,
    condition_words,
    fit_rows,
    fit_table,
    listed,
    ratio_rows,
    stick_slip_rows,
)
from rigdata.comparison.traits_file import trait_rows
from rigdata.pipeline.folder import REPORT_FILE
from rigdata.pipeline.run import CampaignResult, run_campaign


@click.command("run")
@campaign_argument
@out_option
@force_option
@laws_option
@pool_scatter_option
@steady_option
@keep_bedding_option
@margin_option
@tolerance_option
@cache_option
@engine_options
@json_option
def command(campaign: Path, as_json: bool, laws: tuple[str, ...], **options: Any) -> None:
    """Do all of it for CAMPAIGN: reduce, fit, compare, tables and report.

    CAMPAIGN is a campaign.toml or its folder. Prints the verdicts and where the
    report lies.
    """
    with progress(quiet=as_json) as show:
        result = run_campaign(campaign, laws=laws or None, progress=show, **options)
    if as_json:
        show_json(
            "run",
            result.notices,
            folder=str(result.folder),
            report=str(result.folder / REPORT_FILE),
            coefficients=[*fit_rows(result.fits, "kinetic"), *fit_rows(result.static, "static")],
            ratios=ratio_rows(result.ratios),
            traits=trait_rows(result.traits),
            stick_slip=stick_slip_rows(result.stick_slip.values()),
        )
    else:
        say(verdict(result))
        show_notices(result.notices)
    finish(result.notices)


def verdict(result: CampaignResult) -> str:
    """Return what was found, in plain words."""
    where = condition_words(result.campaign.reference)
    parts = [result.campaign.name]
    if result.ratios:
        parts.append(listed(ratio.words for ratio in result.ratios))
    if result.fits or result.static:
        parts.append(f"At {where}, with 95 % intervals:")
        parts.append(fit_table(result.fits, result.static))
    if chatter := chatter_words(result.stick_slip.values()):
        parts.append(chatter)
    parts.append(f"Report: {result.folder / REPORT_FILE}")
    return "\n\n".join(parts)
