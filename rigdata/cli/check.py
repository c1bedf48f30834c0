"""``rigdata check``: which runs are good, which to look at, which to repeat."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path

import click

from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.cli.options import cache_option, campaign_argument, json_option
from rigdata.cli.terminal import (
    LEFT_SOMETHING_OUT,
    aligned,
    progress,
    show_json,
    show_notices,
    visible,
)
from rigdata.errors import RigdataError
from rigdata.pipeline.folder import cache_of, read_files
from rigdata.pipeline.watching import INTERVAL_S, Stamps, stamps, wait_for_change
from rigdata.reduction.verdicts import TO_COME, CampaignCheck, RunVerdict, check_campaign
from rigdata.report.check_page import check_page, counts_words
from rigdata.storage.files import check_new, write_text

HEADERS = ("run", "pack", "procedure", "points", "verdict", "reason")


@click.command("check")
@campaign_argument
@click.option(
    "--watch", is_flag=True, help="Stay, and look again whenever a log or another file lands."
)
@click.option(
    "--page",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write an HTML page too, with each run's course; with --watch it renews itself.",
)
@click.option("--force", is_flag=True, help="Replace the page where it is there.")
@cache_option
@json_option
def command(
    campaign: Path, watch: bool, page: Path | None, force: bool, cache: bool, as_json: bool
) -> None:
    """Read everything of CAMPAIGN and say of each run: good, look or repeat.

    CAMPAIGN is a campaign.toml or its folder; it may be under way, a run without a
    log is then 'to come'. 'look' means that the run gave points but something about
    it deserves a look; 'repeat' that it gave none. No results are written.

    \b
    rigdata check new-batch --watch --page check.html
    """
    if watch and as_json:
        raise click.UsageError("--watch is for people; leave --json out, or call check again")
    if page is not None:
        check_new([page], force=force)
    read = read_campaign(campaign)
    seen = stamps(read_files(read))
    found = _checked(read, cache=cache, quiet=as_json)
    _write_page(page, found, watch=watch)
    if as_json:
        keys = (*HEADERS, "do")
        runs = [dict(zip(keys, (*_row(one), one.do), strict=True)) for one in found.runs]
        faults = [fault.to_dict() for fault in found.faults]
        show_json("check", found.notices, runs=runs, faults=faults, counts=found.counts)
    else:
        there = [_row(one) for one in found.runs if one.verdict != TO_COME]
        click.echo(aligned(HEADERS, there) if there else "No run has a log yet.")
        click.echo(f"\n{counts_words(found)}")
        show_notices(found.notices)
    if watch:
        _watch(campaign, found, seen, page, cache=cache)
    if not found.passed:
        click.get_current_context().exit(LEFT_SOMETHING_OUT)


def _checked(campaign: Campaign, *, cache: bool, quiet: bool = False) -> CampaignCheck:
    with progress(quiet=quiet) as show:
        return check_campaign(campaign, progress=show, cache=cache_of(campaign, wanted=cache))


def _row(one: RunVerdict) -> Sequence[str]:
    points = "-" if one.n_points is None else str(one.n_points)
    return (one.run.id, one.run.pack, one.run.procedure, points, one.verdict, one.reason)


def _write_page(page: Path | None, found: CampaignCheck, *, watch: bool) -> None:
    if page is not None:
        now = f"{datetime.datetime.now():%d %b %Y at %H:%M:%S}"
        seconds = INTERVAL_S if watch else None
        write_text(page, check_page(found, checked=now, refresh_s=seconds))


def _watch(
    path: Path, found: CampaignCheck, seen: Stamps, page: Path | None, *, cache: bool
) -> None:
    """Tell what changes, until Ctrl-C."""
    click.echo("\nWatching; Ctrl-C ends it.", err=True)
    while True:
        wait_for_change(seen)
        seen = stamps(seen)
        try:
            campaign = read_campaign(path)
            seen = stamps(read_files(campaign))
            now = _checked(campaign, cache=cache)
        except RigdataError as fault:  # a campaign file that is being edited
            click.echo(f"rigdata: {visible(str(fault))}", err=True)
            continue
        before = {_row(one) for one in found.runs}
        news = [row for one in now.runs if (row := _row(one)) not in before]
        if news:
            click.echo(f"\n{aligned(HEADERS, news)}\n\n{counts_words(now)}")
        show_notices(notice for notice in now.notices if notice not in found.notices)
        _write_page(page, now, watch=True)
        found = now
