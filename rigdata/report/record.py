"""Sections for the record: tables written, what was left out, provenance, cautions."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from rigdata.comparison.ratios import comparison_notices
from rigdata.errors import Notice, Severity
from rigdata.friction.fit import groups_left_out
from rigdata.report.blocks import Section, facts, paragraph, table
from rigdata.report.html import Content, Element, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import counted, percent

_MOST_NAMED = 8  # more runs than this in one cell are counted, not named


def tables_section(report: ReportInput) -> Section | None:
    """List the coefficient tables written beside this report."""
    if not report.table_files:
        return None
    folders: dict[str, list[str]] = defaultdict(list)
    for path in sorted(report.table_files):
        folders[path.parent.as_posix()].append(path.name)
    return Section(
        "tables",
        "Coefficient tables",
        (
            paragraph(
                "These files hold the coefficients with their intervals on a grid, for a setup "
                "calculator. Each row says whether it lies inside the tested envelope; outside "
                "it, the tables are extrapolation and say so."
            ),
            table(
                "Files by folder, beside this report.",
                ("Folder", "Files"),
                [
                    (element("code", folder), element("code", ", ".join(names)))
                    for folder, names in folders.items()
                ],
                text=(1,),
            ),
        ),
    )


def left_out_section(report: ReportInput) -> Section:
    """Say what was left out of the result, and why."""
    parts = [
        part
        for part in (_runs(report), _points(report), _samples(report), _notices(report))
        if part is not None
    ]
    if not parts:
        parts = [paragraph("Nothing: every run, point and sample was used.")]
    return Section("left-out", "Left out, and why", (parts, _drag(report)))


def _runs(report: ReportInput) -> Element:
    lost = report.reduction.left_out
    if not lost:
        return paragraph(f"All {counted(len(report.campaign.runs), 'run')} gave a result.")
    runs = {run.id: run for run in report.campaign.runs}
    rows = []
    for name, why in lost.items():
        run = runs.get(name)
        rows.append((name, run.pack if run else "", run.procedure if run else "", why))
    return table(
        f"{counted(len(lost), 'run')} of {len(runs)} without a result.",
        ("Run", "Pack", "Procedure", "Why"),
        rows,
        text=(1, 2, 3),
    )


def _points(report: ReportInput) -> Element:
    points = report.points
    lost = points.select(~points.used)
    if not len(lost):
        return paragraph(f"All {counted(len(points), 'friction point')} are used in the fits.")
    reasons = sorted(zip(lost.reason.tolist(), lost.run.tolist(), strict=True))
    rows = []
    for reason, members in groupby(reasons, key=lambda pair: pair[0]):
        runs = [run for _, run in members]
        rows.append((reason or "no reason given", str(len(runs)), _named(runs)))
    rows.sort(key=lambda row: -int(row[1]))
    return table(
        f"{len(lost)} of {counted(len(points), 'friction point')} not used in the fits; "
        "they stay in points.csv with their reason.",
        ("Why", "Points", "Runs"),
        rows,
        text=(2,),
    )


def _samples(report: ReportInput) -> Element | None:
    totals: dict[tuple[str, str], int] = defaultdict(int)
    where: dict[tuple[str, str], list[str]] = defaultdict(list)
    n_rows = 0
    for run, summary in report.reduction.summaries.items():
        n_rows += summary.n_rows
        for channel, flags in summary.flagged.items():
            for flag, count in flags.items():
                if count:
                    totals[channel, flag] += count
                    where[channel, flag].append(run)
    if not totals:
        return paragraph(f"No sample of the {n_rows} read was flagged.")
    rows = [
        (
            channel.replace("_", " "),
            flag.lower(),
            str(count),
            percent(count / n_rows) if n_rows else "",
            _named(where[channel, flag]),
        )
        for (channel, flag), count in sorted(totals.items(), key=lambda entry: -entry[1])
    ]
    return table(
        f"Samples flagged and kept out of the means, of {n_rows} rows read.",
        ("Channel", "Flag", "Samples", "Share", "Runs"),
        rows,
        text=(1, 4),
    )


def _notices(report: ReportInput) -> Element | None:
    """Everything else worth knowing; runs left out already have their own table."""
    order = (Severity.LEFT_OUT, Severity.WARNING, Severity.NOTE)
    told = {f"run {run}" for run in report.reduction.left_out}
    notices = [
        notice
        for notice in all_notices(report)
        if not (notice.severity is Severity.LEFT_OUT and notice.where in told)
    ]
    if not notices:
        return None
    notices.sort(key=lambda notice: order.index(notice.severity))
    return table(
        "Notices, the weightiest first.",
        ("Kind", "Where", "What", "What to do"),
        [(n.severity.value, n.where, n.what, n.do) for n in notices],
        text=(1, 2, 3),
    )


def all_notices(report: ReportInput) -> list[Notice]:
    """Return the notices of every stage, each once."""
    found = list(report.reduction.notices)
    for fits in (report.fits, report.static):
        for fit in fits.values():
            found.extend(fit.notices)
    found.extend(groups_left_out(report.points))
    found.extend(
        comparison_notices(
            report.ratios,
            report.fits,
            baseline=report.campaign.baseline,
            reference=report.campaign.reference,
        )
    )
    return list(dict.fromkeys(found))


def _drag(report: ReportInput) -> Content:
    drag = report.reduction.drag
    if not drag:
        return None
    return (
        element("h3", "Drag taken off the torque"),
        facts((f"pack {pack}", words) for pack, words in drag.items()),
    )


def _named(runs: Sequence[str]) -> str:
    names = sorted(set(runs))
    if len(names) > _MOST_NAMED:
        return f"{', '.join(names[:_MOST_NAMED])} and {len(names) - _MOST_NAMED} more"
    return ", ".join(names)


def provenance_section(report: ReportInput) -> Section:
    """Say what this report was made from, so that it can be made again."""
    named = [
        (name.replace("_", " "), element("code", str(value)))
        for name, value in report.provenance.items()
    ]
    return Section(
        "provenance",
        "Provenance",
        (facts(named), _records(report), _inputs(report), _logs(report)),
    )


def _records(report: ReportInput) -> Content:
    rows = [
        (
            name.replace("_", " "),
            record.id,
            record.sensor,
            record.date.isoformat(),
            record.valid_until.isoformat(),
        )
        for name, history in report.campaign.rig.histories.items()
        for record in history
    ]
    if not rows:
        return None
    return table(
        "Calibration records used.",
        ("Channel", "Record", "Sensor", "Date", "Valid until"),
        rows,
        text=(1, 2),
    )


def _inputs(report: ReportInput) -> Content:
    """The files read, by their place relative to the campaign's folder."""
    folder = report.campaign.folder
    rows = [
        (
            file.role,
            element("code", Path(os.path.relpath(file.path, folder)).as_posix()),
            element("code", file.sha256),
        )
        for file in report.campaign.inputs
    ]
    if not rows:
        return None
    return table("Files read.", ("Role", "File", "SHA-256"), rows, text=(1, 2), dense=True)


def _logs(report: ReportInput) -> Content:
    summaries = report.reduction.summaries
    rows = [
        (
            run.id,
            element("code", run.log.name),
            str(summaries[run.id].n_rows),
            str(summaries[run.id].n_points),
            element("code", summaries[run.id].log_sha256),
        )
        for run in report.campaign.runs
        if run.id in summaries
    ]
    if not rows:
        return None
    return table(
        "Logs read.",
        ("Run", "Log", "Rows", "Points", "SHA-256"),
        rows,
        text=(1, 4),
        dense=True,
    )


def cautions_section(report: ReportInput) -> Section:
    """Say what these numbers are not, and what can hurt."""
    return Section(
        "cautions",
        "Cautions",
        (
            element(
                "div",
                paragraph(
                    element("b", "Bench values are not a guarantee on the vehicle. "),
                    "Oil, temperature, wear, mounting and shock loads differ there. Use these "
                    "coefficients to choose and to compare, then prove the result on the vehicle "
                    "under safe conditions.",
                ),
                paragraph(
                    element("b", "Rotating parts, clamped parts and hot oil can injure. "),
                    "Guard the rig, release the clamp load and let it cool before you reach into "
                    "it. A locked differential changes how a car brakes and turns.",
                ),
                paragraph(
                    element("b", "Fitting and approval belong to qualified people "),
                    "under the rules of the place and of the series in which the vehicle runs.",
                ),
                class_="caution",
            ),
        ),
    )
