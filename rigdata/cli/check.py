"""``rigdata check``: which runs are good, which to look at, which to repeat."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import click

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.options import campaign_argument, json_option
from rigdata.cli.terminal import aligned, finish, progress, show_json, show_notices
from rigdata.errors import Notice, Severity
from rigdata.reduction.reduce import reduce_campaign
from rigdata.reduction.results import Reduction


@click.command("check")
@campaign_argument
@json_option
def command(campaign: Path, as_json: bool) -> None:
    """Read everything of CAMPAIGN and say of each run: good, look or repeat.

    CAMPAIGN is a campaign.toml or its folder. Nothing is written. 'look' means
    that the run gave points but something about it deserves a look; 'repeat'
    that it gave none.
    """
    with progress("reading", quiet=as_json) as show:
        reduction = reduce_campaign(read_campaign(campaign), progress=show)
    rows = run_verdicts(reduction)
    others = [n for n in reduction.notices if not re.match(r"run \S", n.where)]
    if as_json:
        keys = ("run", "pack", "procedure", "points", "verdict", "reason")
        runs = [dict(zip(keys, row, strict=True)) for row in rows]
        show_json("check", reduction.notices, runs=runs)
    else:
        click.echo(aligned(["run", "pack", "procedure", "points", "verdict", "reason"], rows))
        show_notices(others)
    finish(reduction.notices)


def run_verdicts(reduction: Reduction) -> list[tuple[str, str, str, str, str, str]]:
    """Return one row a run: id, pack, procedure, points, verdict and reason."""
    rows = []
    for run in reduction.campaign.runs:
        summary = reduction.summaries.get(run.id)
        points = str(summary.n_points) if summary else "-"
        verdict, reason = _verdict(run.id, run.exclude, reduction.notices)
        rows.append((run.id, run.pack, run.procedure, points, verdict, reason))
    return rows


def _verdict(run: str, exclude: str | None, notices: Sequence[Notice]) -> tuple[str, str]:
    if exclude:
        return "excluded", exclude
    own = [n for n in notices if re.match(rf"run {re.escape(run)}(?![^,;:])", n.where)]
    for severity, verdict in ((Severity.LEFT_OUT, "repeat"), (Severity.WARNING, "look")):
        said = dict.fromkeys(n.what for n in own if n.severity is severity)
        if said:
            return verdict, "; ".join(said)
    return "good", ""
