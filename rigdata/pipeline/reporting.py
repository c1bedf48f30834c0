"""The report of what a results folder holds, and its figures by themselves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from rigdata.bedding.keep_out import bedding_notices
from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.comparison.batches_file import read_batches
from rigdata.comparison.ratios_file import read_ratios
from rigdata.comparison.traits_file import read_traits
from rigdata.engines.engine import Engine, alone
from rigdata.errors import Notice
from rigdata.figures.picture import Picture
from rigdata.pipeline.folder import (
    BATCHES_FILE,
    BEDDING_FILE,
    COMPARISON_FILE,
    REPORT_FILE,
    TABLES_FOLDER,
    TRAITS_FILE,
    cache_of,
    campaign_file,
    check_untouched,
    provenance,
    results_folder,
    results_stage,
    working_alone,
)
from rigdata.pipeline.stages import stored_bedding, wear_of
from rigdata.pipeline.stored import fits_from_folder, points_from_folder
from rigdata.reduction.reduce import reduce_campaign
from rigdata.report.model import ReportInput
from rigdata.report.page import render_report, sections
from rigdata.steps import Progress
from rigdata.storage.files import write_text
from rigdata.storage.folders import is_result
from rigdata.tables.json_table import FILE as TABLE_FILE
from rigdata.tables.read import read_table


@working_alone("report")
def report_into(
    campaign: Campaign,
    out: Path | None = None,
    *,
    force: bool = False,
    progress: Progress | None = None,
    cache: bool = True,
    engine: Engine = alone,
) -> tuple[tuple[Notice, ...], Path]:
    """Write the report of what the results folder holds; the logs give the traces."""
    report, folder = report_from_folder(
        campaign, out, progress=progress, cache=cache, engine=engine
    )
    with results_stage(campaign, folder, "report", {}, force=force) as part:
        write_text(part / REPORT_FILE, render_report(report, progress=progress))
    return report.reduction.notices, folder


def report_from_folder(
    campaign: Campaign,
    out: Path | None = None,
    *,
    progress: Progress | None = None,
    cache: bool = True,
    engine: Engine = alone,
) -> tuple[ReportInput, Path]:
    """Gather what a report shows from the results folder and, for the traces, from the logs."""
    folder = results_folder(campaign, out)
    fits = fits_from_folder(folder)
    points = points_from_folder(folder)
    check_untouched(folder, COMPARISON_FILE, TRAITS_FILE, BATCHES_FILE, BEDDING_FILE)
    comparison = folder / COMPARISON_FILE
    ratios = read_ratios(comparison) if comparison.is_file() else ()
    kept = folder / TRAITS_FILE
    traits = read_traits(kept) if kept.is_file() else ()
    checked = folder / BATCHES_FILE
    batches = read_batches(checked) if checked.is_file() else ()
    tables = sorted(p.relative_to(folder) for p in (folder / TABLES_FOLDER).rglob("*.*"))
    bedding = stored_bedding(points, campaign, folder)
    read = reduce_campaign(
        campaign, progress=progress, cache=cache_of(campaign, wanted=cache), engine=engine
    )
    notices = (*read.notices, *bedding_notices(points, bedding), *fits.notices)
    report = ReportInput(
        campaign=campaign,
        reduction=replace(read, points=points, notices=notices),
        fits=fits.kinetic,
        static=fits.static,
        ratios=ratios,
        traits=traits,
        batches=batches,
        table_files=tables,
        provenance=provenance("report", {}),
        wear=wear_of(campaign, points, fits),
        bedding=bedding,
        tables=[read_table((folder / file).parent) for file in tables if file.name == TABLE_FILE],
    )
    return report, folder


def figures_of(results: Path | str, *, progress: Progress | None = None) -> dict[str, Picture]:
    """Return every figure of the report of a campaign, by name.

    Parameters
    ----------
    results : path
        A results folder, or a campaign (its campaign.toml or its folder) whose
        results are in ``results`` beside it.
    progress : callable, optional
        Told each run before it is read: the logs give the traces.

    Returns
    -------
    dict of str to Picture
        Each with its matplotlib figure, title, caption and data, in the order of
        the report; it shows itself in a notebook and saves itself as SVG, PNG or PDF.

    Raises
    ------
    RigdataError
        When the results or the campaign cannot be read.
    """
    place = Path(results)
    if is_result(place):
        campaign = read_campaign(campaign_file(place, do="Give the campaign instead."))
        return figures_from_folder(campaign, place, progress=progress)
    return figures_from_folder(read_campaign(place), progress=progress)


def figures_from_folder(
    campaign: Campaign, out: Path | None = None, *, progress: Progress | None = None
) -> dict[str, Picture]:
    """Return the figures of the report of what a results folder holds, by name."""
    report, _ = report_from_folder(campaign, out, progress=progress)
    parts = sections(report).values()
    return {p.name: p for own in parts for section in own for p in section.pictures}
