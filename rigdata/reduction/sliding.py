"""The sliding work that a pack has done, run by run, at each of its friction points."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.campaign.campaign import Campaign, Run
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.stretches import bridge, runs_of

_SHORTEST_S = 0.25  # of a slip: noise at standstill passes for one no longer than this
_PAUSE_S = 0.5  # standstill that parts two engagements
_NODES = 4000  # of a course that is kept
_KJ = 1e-3
_KJ_PER_MJ = 1e3


@dataclass(frozen=True, eq=False)
class Sliding:
    """How one log's pack slid under load, from the start of the log.

    Attributes
    ----------
    time_s : (n,) float
        Rising times. [s]
    work_kj, slid_s : (n,) float
        Friction work, and time spent slipping, up to each. [kJ, s]
    begun_s : (k,) float
        When each engagement began to slip. [s]
    """

    time_s: FloatArray
    work_kj: FloatArray
    slid_s: FloatArray
    begun_s: FloatArray

    def __post_init__(self) -> None:
        for name in ("time_s", "work_kj", "slid_s", "begun_s"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def at(self, time_s: FloatArray) -> FloatArray:
        """Return work [kJ], time slipping [s] and engagements up to each of m times, (3, m)."""
        return np.array(
            [
                np.interp(time_s, self.time_s, self.work_kj),
                np.interp(time_s, self.time_s, self.slid_s),
                np.searchsorted(self.begun_s, time_s, side="right"),
            ]
        )

    @property
    def total(self) -> FloatArray:
        """(3,) the same at the end of the log."""
        return self.at(self.time_s[-1:])[:, 0]


def sliding_of(corrected: CorrectedRun) -> Sliding:
    """Return the sliding of one run over all its frames, in windows or not.

    ``W = int |T w| dt`` over the time in which the pressed pack slips, T the friction
    torque and w the slip speed.  Standstill adds nothing, so noise does not add up.
    """
    moving = _moving(corrected)
    time = corrected.time_s
    power = np.where(moving, np.abs(corrected.torque.values * corrected.speed.values), 0.0)
    steps = np.diff(time)
    kept = np.unique(np.linspace(0, time.size - 1, _NODES).astype(np.int64))
    return Sliding(
        time_s=time[kept],
        work_kj=_KJ * _summed(steps * (power[1:] + power[:-1]) / 2.0)[kept],
        slid_s=_summed(steps * (moving[1:] & moving[:-1]))[kept],
        begun_s=time[[stretch.start for stretch in runs_of(moving)]],
    )


def _moving(corrected: CorrectedRun) -> BoolArray:
    """Return where the pressed pack slips: short pauses bridged, noise at standstill left out."""
    slipping = corrected.pressed & (corrected.slip.speed > corrected.rest_speed)
    step = corrected.step_s
    for stretch in runs_of(slipping):
        if len(stretch) * step < _SHORTEST_S:
            slipping[stretch.frames] = False
    return bridge(slipping, round(_PAUSE_S / step))


def _summed(parts: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(parts)])


def with_pack_work(
    points: FrictionPoints,
    campaign: Campaign,
    known: Mapping[str, Sliding],
    read: Callable[[Sequence[Run]], Iterable[Sliding | None]],
) -> FrictionPoints:
    """Return the points with the work, the sliding and the engagements of their pack so far.

    Parameters
    ----------
    points : FrictionPoints
        Of all runs.
    campaign : Campaign
        Its runs give the order, by date and then as they stand; a pack's
        ``sliding_work_mj`` is what it had done before.
    known : mapping of str to Sliding
        Of the runs that were reduced, by their id.
    read : callable
        Reads the sliding of the whole log of each run that is not known, or of which
        only a part was used; None where the log cannot be read.

    Notes
    -----
    A point stands at the middle of its window.  Zero and drag runs do no work on
    faces that are not pressed.  The work of a pack is the least it can be where
    `runs_not_counted` is above 0, as logs could not be read.
    """
    columns = np.full((4, len(points)), np.nan)
    middle = (points.start_s + points.end_s) / 2.0
    logs = {pack: _logs_in_order(campaign, pack) for pack in dict.fromkeys(points.pack.tolist())}
    every = [runs for own in logs.values() for runs in own]
    whole = {runs[0].id for runs in every if _is_whole(runs)}
    slid_in: dict[str, Sliding | None] = {name: known[name] for name in whole & known.keys()}
    others = [runs[0] for runs in every if runs[0].id not in slid_in]
    others = [replace(run, start_s=None, end_s=None) for run in others]
    slid_in |= {run.id: found for run, found in zip(others, read(others), strict=True)}
    for pack, own_logs in logs.items():
        before = np.array([(campaign.packs[pack].sliding_work_mj or 0.0) * _KJ_PER_MJ, 0.0, 0.0])
        missing = 0
        for runs in own_logs:
            sliding = slid_in[runs[0].id]
            own = np.isin(points.run, [run.id for run in runs])
            if sliding is None:
                missing += len(runs)
                continue
            columns[:3, own] = before[:, None] + sliding.at(middle[own])
            columns[3, own] = missing
            before = before + sliding.total
    work, slid, engagements, missed = columns
    return replace(
        points,
        pack_work_kj=work,
        pack_sliding_s=slid,
        pack_engagements=engagements,
        runs_not_counted=missed,
    )


def _logs_in_order(campaign: Campaign, pack: str) -> list[list[Run]]:
    """Return the runs of a pack that slide, by their log, in the order they were made."""
    runs = [r for r in campaign.runs if r.pack == pack and r.procedure not in ("zero", "drag")]
    days = {run.id: run.date or campaign.date for run in runs}
    dated = [day for day in days.values() if day is not None]
    if len(dated) == len(runs):
        runs.sort(key=lambda run: str(days[run.id]))
    logs: dict[Path, list[Run]] = {}
    for run in runs:
        logs.setdefault(run.log, []).append(run)
    return list(logs.values())


def _is_whole(runs: Sequence[Run]) -> bool:
    """Whether the one run of a log uses all of it."""
    return len(runs) == 1 and runs[0].start_s is None and runs[0].end_s is None
