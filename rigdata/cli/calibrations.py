"""``rigdata calibrations``: how the calibrated sensors of a rig stand."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from pathlib import Path

import click
import numpy as np

from rigdata.calibration.classes import DEFAULT_LIMITS, read_limits
from rigdata.calibration.states import SensorState, sensor_states, state_notices
from rigdata.campaign.rig import read_rig
from rigdata.cli.options import RigPath, json_option
from rigdata.cli.terminal import aligned, finish, paragraph, say, show_json, show_notices
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.points_file import BUDGET_FILE, POINTS_FILE, read_points
from rigdata.storage.files import timestamp


@click.command("calibrations")
@click.argument("rig", type=RigPath())
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day that counts, as 2026-03-01; today unless told otherwise.",
)
@click.option(
    "--results",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Results folder: shows each sensor's share of the variance of mu.",
)
@click.option(
    "--limits",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    default=DEFAULT_LIMITS,
    help="Class limits, a TOML file; those shipped are from memory.",
)
@json_option
def command(
    rig: Path, day: datetime.datetime | None, results: Path | None, limits: Path, as_json: bool
) -> None:
    """Show how the calibrated sensors of RIG stand: validity, class, drift, limits.

    RIG is a rig.toml or its folder. Classes are in the manner of ISO 376; a
    star says that the record does not show all that the class asks for.
    """
    on_date = day.date() if day else datetime.date.fromisoformat(timestamp()[:10])
    read = read_rig(rig)
    table = read_limits(limits)
    states = sensor_states(read, on_date, limits=table)
    notices = state_notices(states, on_date)
    points = read_points(results / POINTS_FILE, results / BUDGET_FILE) if results else None
    shares = [variance_share(points, state.sources) for state in states]
    if as_json:
        show_json(
            "calibrations",
            notices,
            rig=read.name,
            date=on_date.isoformat(),
            class_limits=table.basis,
            sensors=[row(state, share) for state, share in zip(states, shares, strict=True)],
        )
    else:
        say(f"{read.name}, {on_date}:")
        say(_table(states, shares if results else None))
        for state in states:
            say(f"\n{state.channel}, record {state.record.id}, sensor {state.record.sensor}")
            for words in (*state.assessment.words, f"drift {state.drift_words}"):
                say(paragraph(f"  {words}", indent="    "))
        bare = [name for name in read.channels if name not in read.histories]
        if bare:
            say("\n" + paragraph(f"Without a calibration record: {', '.join(bare)}."))
        show_notices(notices)
    finish(notices)


def variance_share(points: FrictionPoints | None, sources: Sequence[str]) -> float:
    """Return the share of a sensor in the variance of mu, over all used points.

    ``sum(c^2) / sum(u^2)`` with the contributions c of the sources whose ids
    begin as `sources` say, and the standard uncertainty u of each point; NaN
    without points.
    """
    if points is None or not points.used.any():
        return math.nan
    own = np.array([source.id.startswith(tuple(sources)) for source in points.sources], np.bool_)
    part = points.contributions[points.used][:, np.flatnonzero(own)].power(2).sum()
    return float(part / np.sum(points.u_mu[points.used] ** 2))


def row(state: SensorState, share: float) -> dict[str, object]:
    """Return the state of one sensor as plain values, for JSON."""
    found, verdict, limit = state.assessment, state.assessment.verdict, state.assessment.limit
    return {
        "channel": state.channel,
        "record": state.record.id,
        "sensor": state.record.sensor,
        "role": state.record.role,
        "date": state.record.date.isoformat(),
        "valid_until": state.record.valid_until.isoformat(),
        "days_left": state.days_left,
        "unit": found.unit,
        "worst_residual": found.worst_residual,
        "residual_sd": found.residual_sd,
        "u_reading": found.u_reading,
        "hysteresis": found.hysteresis,
        "repeatability": found.repeatability,
        "zero_error_percent": found.errors.zero,
        "creep_percent": found.errors.creep,
        "lower_limit_factor": limit.load if limit else None,
        "lower_limit_ratio": limit.ratio if limit else None,
        "class": verdict.name or None if verdict else None,
        "class_lowest_load": verdict.lowest_load if verdict else None,
        "class_not_shown": list(verdict.not_shown) if verdict else [],
        "degree": found.degree.stated,
        "degree_advised": found.degree.advised,
        "drift_known": state.drift is not None,
        "drift_percent": state.drift.percent if state.drift else None,
        "last_drift_percent": state.last_drift.percent if state.last_drift else None,
        "variance_share": share,
        "words": list(found.words),
    }


def _table(states: Sequence[SensorState], shares: Sequence[float] | None) -> str:
    heads = ["channel", "record", "valid until", "days left", "class", "LLF", "unit", "drift"]
    rows = []
    for state in states:
        limit = state.assessment.limit
        rows.append(
            [
                state.channel,
                state.record.id,
                state.record.valid_until.isoformat(),
                str(state.days_left),
                state.class_words,
                f"{limit.load:.3g}" if limit else "-",
                state.assessment.unit,
                f"{state.drift.percent:+.2g} %" if state.drift else "not known",
            ]
        )
    if shares is not None:
        heads.insert(-1, "of var(mu)")
        for cells, share in zip(rows, shares, strict=True):
            cells.insert(-1, f"{100.0 * share:.0f} %" if math.isfinite(share) else "-")
    return aligned(heads, rows, width=100)
