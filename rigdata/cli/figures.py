"""``rigdata figures``: the figures of the report as files of their own."""

from __future__ import annotations

from pathlib import Path

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.campaign.reading import nearest
from rigdata.cli.options import campaign_or_results, json_option
from rigdata.cli.terminal import aligned, progress, say, show_json
from rigdata.pipeline.reporting import figures_from_folder
from rigdata.steps import counted
from rigdata.storage.files import check_new, write_text


@click.command("figures")
@campaign_or_results
@click.argument("names", metavar="[NAME]...", nargs=-1)
@click.option(
    "--as",
    "endings",
    type=click.Choice(["svg", "png", "pdf", "csv"]),
    multiple=True,
    help="Kind of file, csv for the numbers; more than once for several. svg by default.",
)
@click.option(
    "--to",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the files; 'figures' in the folder at hand unless told otherwise.",
)
@click.option("--list", "only_list", is_flag=True, help="Say which figures there are.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@json_option
def command(
    campaign: Path,
    out: Path | None,
    names: tuple[str, ...],
    endings: tuple[str, ...],
    folder: Path | None,
    only_list: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Write the figures of the report of CAMPAIGN as files; all, or those named.

    CAMPAIGN is a campaign.toml, its folder, or a folder of its results. --list
    gives the names.
    """
    with progress(quiet=as_json) as show:
        pictures = figures_from_folder(read_campaign(campaign), out, progress=show)
        if unknown := next((name for name in names if name not in pictures), None):
            likely = nearest(unknown, pictures)
            hint = f"Did you mean '{likely}'?" if likely else "--list shows them."
            raise click.UsageError(f"There is no figure '{unknown}'. {hint}")
        chosen = [pictures[name] for name in names or pictures]
        place = folder or Path("figures")
        files = [
            place / f"{picture.name}.{end}" for picture in chosen for end in endings or ("svg",)
        ]
        if not only_list:
            check_new(files, force=force)
            for file in counted(show, "writing", files):
                picture = pictures[file.stem]
                if file.suffix == ".csv":
                    write_text(file, picture.csv)
                else:
                    picture.save(file)
    if as_json:
        rows = [{"name": p.name, "title": p.title, "caption": p.caption} for p in chosen]
        show_json("figures", (), figures=rows, files=[] if only_list else [*map(str, files)])
    elif only_list:
        say(aligned(["name", "figure"], [(p.name, p.title) for p in chosen]))
    else:
        say(f"Wrote {len(files)} files into {place}.")
