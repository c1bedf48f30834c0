"""``rigdata fit``: from friction points to laws."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import (
    bootstrap_option,
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
    bootstrap_table,
    chatter_words,
    condition_words,
    deletion_words,
    fit_rows,
    fit_table,
    ranking_table,
    stick_slip_rows,
)
from rigdata.friction.bootstrap import Bootstrap, bootstrap_fits
from rigdata.pipeline.folder import FITS_FILE
from rigdata.pipeline.stages import fit_into
from rigdata.pipeline.stored import points_from_folder


@click.command("fit")
@campaign_or_results
@force_option
@laws_option
@pool_scatter_option
@steady_option
@keep_bedding_option
@bootstrap_option
@json_option
def command(
    campaign: Path,
    out: Path | None,
    force: bool,
    laws: tuple[str, ...],
    refits: int | None,
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

    --bootstrap asks the fits to prove themselves: 1000 refits or so with packs
    weighted anew at random, then with runs, should scatter as the fit says. The
    table gives the part of each uncertainty that differs from pack to pack (or run
    to run), how many times as far the refits scatter, and what chance lets that be.
    """
    read = read_campaign(campaign)
    with progress(quiet=as_json) as show:
        fits, folder = fit_into(read, out, force=force, laws=laws or None, progress=show, **options)
        tried: tuple[Bootstrap, ...] = ()
        notices = fits.notices
        if refits is not None:
            both = (*fits.kinetic.values(), *fits.static.values())
            tried, told = bootstrap_fits(points_from_folder(folder), both, refits)
            notices = (*notices, *told)
    if as_json:
        rows = [*fit_rows(fits.kinetic, "kinetic"), *fit_rows(fits.static, "static")]
        show_json(
            "fit",
            notices,
            folder=str(folder),
            coefficients=rows,
            stick_slip=stick_slip_rows(fits.stick_slip.values()),
            bootstrap=[one.to_dict() for one in tried],
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
        if tried:
            say(f"\n{bootstrap_table(tried)}\n")
        say(f"Wrote {folder / FITS_FILE}.")
        show_notices(notices)
    finish(notices)
