"""``rigdata logs``: how one log is written, what it holds, and what is wrong with it."""

from __future__ import annotations

import importlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import click

from rigdata.campaign.rig import LogSettings, Rig, read_rig
from rigdata.cli.options import RigPath, json_option
from rigdata.cli.terminal import (
    aligned,
    finish,
    paragraph,
    progress,
    say,
    show_json,
    show_notices,
)
from rigdata.errors import ResultError
from rigdata.logs.block import Listed
from rigdata.logs.inspection import ColumnLook, LogLook, look_at, offered_by
from rigdata.logs.proposal import rig_blocks, roles, stated_roles
from rigdata.steps import Step
from rigdata.storage.files import write_text

_MARKS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "vertical bar", " ": "blanks"}
_DECIMALS = {".": "point", ",": "comma"}
_LINE_ENDS = {"\n": "LF", "\r\n": "CR LF", "\r": "CR"}
_MOST_GAPS = 5


@click.command("logs")
@click.argument("log", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--rig", type=RigPath(), help="Take [log] and channels from this rig.toml.")
@click.option("--time", "time_column", help="Column of the time, where its name does not say so.")
@click.option(
    "--write",
    "target",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the begun rig.toml into this new file.",
)
@click.option(
    "--figure",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Draw every column against time into this .svg, .png or .pdf.",
)
@json_option
def command(
    log: Path,
    rig: Path | None,
    time_column: str | None,
    target: Path | None,
    figure: Path | None,
    as_json: bool,
) -> None:
    """Show what was understood of LOG: dialect, columns, rates, gaps, flags, rows dropped.

    LOG is delimited text, or MDF, TDMS, HDF5 or Parquet where their packages are
    installed. Ends with the [log] and [channels] that a rig.toml may begin with; a
    column is matched to a channel only where its name or unit makes it plain.
    """
    if target is not None and target.exists():
        raise ResultError("is there already", where=str(target), do="Choose another name.")
    known = read_rig(rig) if rig else None
    with progress(quiet=as_json) as show:
        if show:
            show(Step(f"reading {log.name}"))
        look, chosen = _look(log, known, time_column)
    blocks = rig_blocks(look.settings.time_column, look.dialect, look.offered, chosen)
    if figure is not None:
        _draw(look, figure)
    if target is not None:
        write_text(target, blocks)
    if as_json:
        show_json("logs", look.notices, **content(look, chosen), rig_toml=blocks)
    else:
        say(_report(look, chosen))
        if known is None and target is None:
            say(f"\nFor a rig.toml:\n\n{blocks}", nl=False)
        show_notices(look.notices, notes=True)
    finish(look.notices)


def _look(
    log: Path, rig: Rig | None, time_column: str | None
) -> tuple[LogLook, Mapping[str, Listed]]:
    """Return the look at a log, and the column of each channel."""
    settings = rig.log if rig else None
    if time_column:
        settings = replace(rig.log, time_column=time_column) if rig else LogSettings(time_column)
    if rig is None:
        look = look_at(log, settings)
        return look, roles(look.offered)
    wanted = {name: c.column for name, c in rig.channels.items() if c.column}
    chosen, missing = stated_roles(offered_by(log, settings or rig.log), wanted, where=str(log))
    limits = {column.name: rig.channels[name].range for name, column in chosen.items()}
    look = look_at(log, settings, ranges={n: limit for n, limit in limits.items() if limit})
    return replace(look, notices=(*look.notices, *missing)), chosen


def content(look: LogLook, chosen: Mapping[str, Listed]) -> dict[str, object]:
    """Return what was understood as plain values, for JSON."""
    dialect = look.dialect
    return {
        "log": str(look.path),
        "sha256": look.sha256,
        "format": look.format,
        "dialect": dialect
        and {
            "encoding": dialect.encoding,
            "line_end": _LINE_ENDS[dialect.line_end],
            "delimiter": dialect.delimiter,
            "decimal": dialect.decimal,
            "names_line": dialect.names_line,
            "units_line": dialect.units_line or None,
            "first_line": dialect.first_line,
            "stamps": dialect.clock.words if dialect.clock else None,
        },
        "time_column": look.settings.time_column,
        "rows": look.n_rows,
        "start_s": look.start_s,
        "end_s": look.end_s,
        "sample_s": look.sample_s,
        "gaps": [list(gap) for gap in look.gaps],
        "columns": [
            {
                "name": column.name,
                "unit": column.unit,
                "channel": _channel(column.name, chosen) or None,
                "samples": column.n_samples,
                "first": column.first,
                "last": column.last,
                "low": column.low,
                "high": column.high,
                "period_s": column.period_s,
                "flags": {flag.words: count for flag, count in column.counts.items()},
            }
            for column in look.columns
        ],
        "without_numbers": list(look.others),
    }


def _channel(name: str, chosen: Mapping[str, Listed]) -> str:
    return next((channel for channel, column in chosen.items() if column.name == name), "")


def _report(look: LogLook, chosen: Mapping[str, Listed]) -> str:
    span = f"{look.start_s:g} s to {look.end_s:g} s, {_rate(look.sample_s)}"
    parts = [paragraph(f"{look.path}: {look.format}, {look.n_rows} rows from {span}.")]
    if look.dialect is not None:
        parts.append(aligned(["written with", "understood as", "line"], _dialect_rows(look)))
    numbers = [
        [c.name, c.unit or "-", *map(_number, (c.first, c.last, c.low, c.high))]
        for c in look.columns
    ]
    parts.append(aligned(["column", "unit", "first", "last", "lowest", "highest"], numbers))
    heads = ["column", "channel", "numbers", "sampled", "flagged"]
    parts.append(aligned(heads, [_state_row(column, chosen) for column in look.columns]))
    if look.gaps:
        parts.append(paragraph(_gap_words(look.gaps)))
    if look.others:
        parts.append(
            paragraph("Without numbers: " + ", ".join(f"'{name}'" for name in look.others) + ".")
        )
    return "\n\n".join(parts)


def _dialect_rows(look: LogLook) -> list[list[str]]:
    dialect = look.dialect
    assert dialect is not None
    clock = dialect.clock
    time = f"'{look.settings.time_column}', " + (clock.words if clock else dialect.time_unit)
    units = "in the names, or none"
    return [
        ["encoding", f"{dialect.encoding}, line ends {_LINE_ENDS[dialect.line_end]}", "-"],
        ["delimiter", _MARKS.get(dialect.delimiter, dialect.delimiter), "-"],
        ["decimal mark", _DECIMALS[dialect.decimal], "-"],
        ["names", f"{len(dialect.names)} columns", str(dialect.names_line)],
        ["units", "a row" if dialect.units_line else units, str(dialect.units_line or "-")],
        ["time", time, "-"],
        ["data", "from here on", str(dialect.first_line)],
    ]


def _state_row(column: ColumnLook, chosen: Mapping[str, Listed]) -> list[str]:
    flags = ", ".join(f"{count} {flag.words}" for flag, count in column.counts.items())
    channel = _channel(column.name, chosen).replace("_", " ")
    return [
        column.name,
        channel or "-",
        str(column.n_samples),
        _rate(column.period_s),
        flags or "none",
    ]


def _gap_words(gaps: Sequence[tuple[float, float]]) -> str:
    shown = ", ".join(f"{start:.6g} s to {end:.6g} s" for start, end in gaps[:_MOST_GAPS])
    more = f" and {len(gaps) - _MOST_GAPS} more" if len(gaps) > _MOST_GAPS else ""
    return f"Gaps in time: {shown}{more}."


def _rate(period_s: float) -> str:
    return f"{1.0 / period_s:.4g} Hz" if period_s < 1.0 else f"every {period_s:.4g} s"


def _number(value: float) -> str:
    return f"{value:.5g}" if math.isfinite(value) else "-"


def _draw(look: LogLook, path: Path) -> None:
    # Only now, because matplotlib loads slowly.
    drawings, files = (
        importlib.import_module(f"rigdata.figures.{name}") for name in ("log_columns", "files")
    )
    files.save_figure(
        drawings.log_columns(look),
        path,
        title=f"Columns of {look.path.name}",
        description=drawings.described(look),
    )
