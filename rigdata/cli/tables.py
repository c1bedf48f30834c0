"""``rigdata tables``: coefficient tables from the fits."""

from __future__ import annotations

from pathlib import Path

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import (
    campaign_or_results,
    force_option,
    formats_option,
    json_option,
    tolerance_option,
)
from rigdata.cli.terminal import aligned, finish, progress, say, show_json, show_notices
from rigdata.pipeline.folder import TABLES_FOLDER
from rigdata.pipeline.stages import tables_into
from rigdata.tables.write import table_folders


@click.command("tables")
@campaign_or_results
@force_option
@tolerance_option
@formats_option
@json_option
def command(
    campaign: Path,
    out: Path | None,
    force: bool,
    tolerance: float,
    formats: tuple[str, ...],
    as_json: bool,
) -> None:
    """Write the coefficient tables of CAMPAIGN from its fits.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. The
    fits come from the results folder; each material and state gets a folder of
    its own.
    """
    read = read_campaign(campaign)
    with progress(quiet=as_json) as show:
        built, folder = tables_into(
            read, out, force=force, tolerance=tolerance, formats=formats, progress=show
        )
    places = table_folders(built.tables)
    where = {group: folder / TABLES_FOLDER / place for group, place in places.items()}
    if as_json:
        rows = [
            {
                "material": group.material,
                "state": group.state,
                "folder": str(where[group]),
                "nodes": [nodes.size for nodes in table.axes],
                "interpolation_error": table.error,
            }
            for group, table in built.tables.items()
        ]
        show_json("tables", built.notices, folder=str(folder), tables=rows)
    else:
        cells = [
            [
                " x ".join(str(nodes.size) for nodes in table.axes),
                f"{100 * table.error:.2f}",
                str(where[group]),
            ]
            for group, table in built.tables.items()
        ]
        say(aligned(["nodes v x T x p", "error, %", "folder"], cells))
        show_notices(built.notices)
    finish(built.notices)
