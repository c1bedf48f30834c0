"""``rigdata compare``: materials, states and batches against each other."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.comparison_words import calibration_lines, standings_table, traits_table
from rigdata.cli.options import (
    campaign_or_results,
    force_option,
    json_option,
    margin_option,
)
from rigdata.cli.terminal import finish, progress, say, show_json, show_notices
from rigdata.cli.verdicts import listed, ratio_rows
from rigdata.comparison.batches import MARGIN
from rigdata.comparison.traits_file import trait_rows
from rigdata.pipeline.folder import BATCHES_FILE, COMPARISON_FILE, TRAITS_FILE
from rigdata.pipeline.stages import compare_into


@click.command("compare")
@campaign_or_results
@force_option
@margin_option
@click.option(
    "--batch-margin",
    type=click.FloatRange(0.0, 1.0, min_open=True, max_open=True),
    default=MARGIN,
    show_default=True,
    help="Batches within 1 +- BATCH-MARGIN count as alike.",
)
@click.option(
    "--with",
    "earlier",
    multiple=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Results folder of an earlier campaign whose batches count too; more than once for more.",
)
@click.option(
    "--reference-batch",
    "references",
    multiple=True,
    help="Batch that the others are held against; each against those before it by default.",
)
@json_option
def command(
    campaign: Path,
    out: Path | None,
    force: bool,
    margin: float,
    batch_margin: float,
    earlier: tuple[Path, ...],
    references: tuple[str, ...],
    as_json: bool,
) -> None:
    """Compare materials, states and batches; write comparison.csv, traits.json, batches.json.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. The
    points and fits come from the results folder.

    Materials are compared with the baseline, worn packs with new ones, and each
    batch with the batches before it, those of earlier campaigns (--with) first.
    Beside the level of mu stand its traits: slope over slip speed, static over
    kinetic, fade, effect of pressure, and how much packs differ.
    """
    with progress(quiet=as_json) as show:
        found, folder = compare_into(
            read_campaign(campaign),
            out,
            force=force,
            margin=margin,
            batch_margin=batch_margin,
            earlier=earlier,
            reference_batches=references,
            progress=show,
        )
    if as_json:
        show_json(
            "compare",
            found.notices,
            folder=str(folder),
            ratios=ratio_rows(found.ratios),
            traits=trait_rows(found.traits),
            batches=[asdict(check) for check in found.batches],
        )
    else:
        parts = [listed(ratio.words for ratio in found.ratios)]
        if found.ratios:
            parts.append(standings_table(found.ratios))
            parts.append(calibration_lines(found.ratios))
        if found.traits:
            parts.append(traits_table(found.traits))
        if found.batches:
            parts.append(listed(check.words for check in found.batches))
        parts.append(f"Wrote {folder / COMPARISON_FILE}, {TRAITS_FILE} and {BATCHES_FILE}.")
        say("\n\n".join(filter(None, parts)))
        show_notices(found.notices)
    finish(found.notices)
