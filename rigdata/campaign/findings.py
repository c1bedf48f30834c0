"""What a campaign's reader finds that does not stop it: dates and logs."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from rigdata.campaign.history import in_force
from rigdata.campaign.records import CalibrationRecord
from rigdata.errors import Notice, Severity


@dataclass(frozen=True)
class LogPart:
    """The part of a log that a run uses; None is its start or end. [s]"""

    log: Path
    start_s: float | None
    end_s: float | None

    def overlaps(self, other: LogPart) -> bool:
        """Tell whether two runs use the same samples."""
        return (
            self.log == other.log
            and _or(self.start_s, -math.inf) < _or(other.end_s, math.inf)
            and _or(other.start_s, -math.inf) < _or(self.end_s, math.inf)
        )


def log_notices(parts: Mapping[str, LogPart], campaign_file: Path) -> Iterator[Notice]:
    """Yield a notice for each log that is not there, and for samples used twice.

    Parameters
    ----------
    parts : mapping
        The part of a log that each run uses, by run id.
    campaign_file : Path
        The file that names the logs.
    """
    folder = campaign_file.parent
    for run, part in parts.items():
        if not part.log.is_file():
            yield Notice(
                Severity.LEFT_OUT,
                f"run {run}",
                f"there is no log {from_folder(part.log, folder)}",
                f"Put the file there, or correct runs.{run}.log in {campaign_file.name}",
            )
    for (run, part), (other, twin) in combinations(parts.items(), 2):
        if part.overlaps(twin):
            yield Notice(
                Severity.WARNING,
                f"run {run}, run {other}",
                f"both use the same samples of {from_folder(part.log, folder)}, which count twice",
                "Give each run its own log, or set start_s and end_s apart",
            )


def record_notices(
    histories: Mapping[str, tuple[CalibrationRecord, ...]],
    days: Mapping[str, datetime.date | None],
    campaign_file: Path,
) -> Iterator[Notice]:
    """Yield one notice for each record and each way in which runs miss its dates.

    Parameters
    ----------
    histories : mapping
        Calibration records, one or more, by the channel that uses them.
    days : mapping
        The day of each run, by its id; None where nobody stated one.
    campaign_file : Path
        The file that names the runs.
    """
    if not histories:
        return
    undated = [run for run, day in days.items() if day is None]
    if undated:
        yield Notice(
            Severity.NOTE,
            f"{campaign_file.name}, {_runs(undated)}",
            "no date, so that the dates of the calibration records are not checked",
            "Write date in the campaign or in the run",
        )
    dated = {run: day for run, day in days.items() if day is not None}
    for channel, records in histories.items():
        used = {run: in_force(records, day).opening for run, day in dated.items()}
        for record in records:
            own = {run: day for run, day in dated.items() if used[run] is record}
            late = [run for run, day in own.items() if day > record.valid_until]
            early = [run for run, day in own.items() if day < record.date]
            yield from _date_notices(channel, record, late, early, campaign_file)


def _date_notices(
    channel: str,
    record: CalibrationRecord,
    late: list[str],
    early: list[str],
    campaign_file: Path,
) -> Iterator[Notice]:
    for runs, fault in (
        (late, f"was valid until {record.valid_until}, which is before the date of"),
        (early, f"is of {record.date}, which is after the date of"),
    ):
        if runs:
            yield Notice(
                Severity.WARNING,
                from_folder(record.path, campaign_file.parent),
                f"record {record.id} of {channel} {fault} {_runs(runs)}",
                "Use the record that was in force, or have the sensor calibrated again",
            )


def from_folder(path: Path, folder: Path) -> str:
    """Return `path` relative to `folder`, the same on every machine."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # on another drive
        return path.name


def _runs(names: list[str]) -> str:
    return f"run{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _or(value: float | None, default: float) -> float:
    return default if value is None else value
