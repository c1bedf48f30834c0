"""``rigdata fit``: from friction points to laws."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import (
    campaign_or_results,
    force_option,
    json_option,
    keep_bedding_option,
    laws_option,
    pool_scatter_option,
    steady_option,
)
from rigdata.cli.terminal import SCREEN, finish, progress, say, show_json, show_notices
from rigdata.cli.verdicts import (
    chatter_words,
    condition_words,
    deletion_words,
    fit_rows,
    fit_table,
    ranking_table,
    stick_slip_rows,
)
from rigdata.pipeline.folder import FITS_FILE
from rigdata.pipeline.stages import fit_into


@click.command("fit")
@campaign_or_results
@force_option
@laws_option
@pool_scatter_option
@steady_option
@keep_bedding_option
@json_option
def command(
    campaign: Path,
    out: Path | None,
    force: bool,
    laws: tuple[str, ...],
    as_json: bool,
    **options: Any,
) -> None:
    """Fit friction laws to the points of CAMPAIGN and write fits.json.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. The
    points come from points.csv and budget.csv in the results folder, be they
    from 'rigdata reduce' or made by hand. Points from before their pack was steady
    are kept out; 'rigdata bedding' shows when each pack was.

    Each group lists the laws tried: their number of parameters, how far their
    AICc is above the least, the log density of packs (or runs) left out against
    the best law with the standard error of that difference, and why the law was
    or was not taken. Where that is more than a screen, laws that do clearly worse
    stand together; --json has all of it.
    """
    read = read_campaign(campaign)
    with progress(quiet=as_json) as show:
        fits, folder = fit_into(read, out, force=force, laws=laws or None, progress=show, **options)
    if as_json:
        rows = [*fit_rows(fits.kinetic, "kinetic"), *fit_rows(fits.static, "static")]
        show_json(
            "fit",
            fits.notices,
            folder=str(folder),
            coefficients=rows,
            stick_slip=stick_slip_rows(fits.stick_slip.values()),
        )
    else:
        coefficients = fit_table(fits.kinetic, fits.static)
        most = SCREEN - coefficients.count("\n") - 5
        say(ranking_table(fits.kinetic, fits.static, most=most) + "\n")
        say(f"At {condition_words(read.reference)}, with 95 % intervals:")
        say(coefficients)
        if left_out := deletion_words(fits.kinetic, fits.static):
            say(left_out)
        if chatter := chatter_words(fits.stick_slip.values()):
            say(f"\n{chatter}\n")
        say(f"Wrote {folder / FITS_FILE}.")
        show_notices(fits.notices)
    finish(fits.notices)
