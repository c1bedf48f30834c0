"""A whole campaign from its logs to friction points."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rigdata.campaign.campaign import Campaign, Pack, Run
from rigdata.engines.engine import Apply, Engine, alone
from rigdata.errors import Notice, ReductionError, RigdataError, Severity, gathered
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.account import Account
from rigdata.reduction.alignment import aligned, aligned_reading, delay_notices, pooled_delay
from rigdata.reduction.drag import Drag, DragData, fit_drag
from rigdata.reduction.drag_cells import DRAG_CELL_S
from rigdata.reduction.faults.courses import drag_courses, friction_courses
from rigdata.reduction.faults.fault import Fault, Kind
from rigdata.reduction.faults.levels import drag_levels, drag_of_others, friction_levels
from rigdata.reduction.faults.repeats import swings
from rigdata.reduction.inertia import with_found_inertia
from rigdata.reduction.points import concatenate
from rigdata.reduction.results import Reduction
from rigdata.reduction.run import RunResult, read_sliding
from rigdata.reduction.sliding import Sliding, with_pack_work
from rigdata.reduction.work import work_drag_run, work_run, work_zero_run
from rigdata.reduction.zero import PackZero
from rigdata.steps import Progress

_OF_WORK = ("torque", "slip_speed")  # channels that the sliding work comes from
_REACH = 0.75  # of the slip speed and of the warming of the oil that drag runs of others reach
_LEAST_SPAN_K = 5.0  # oil within this is at one temperature
_MOST_NAMED = 4  # runs whose reason is told where none gave a point


def reduce_campaign(
    campaign: Campaign,
    *,
    progress: Progress | None = None,
    under_way: bool = False,
    cache: FramesCache | None = None,
    engine: Engine = alone,
) -> Reduction:
    """Reduce every run of a campaign.

    Zero runs come first, then drag runs, because the others need them.  The order of
    the runs in campaign.toml changes the order of points and, among runs of one day,
    what their pack had done before each; nothing else.

    Parameters
    ----------
    campaign : Campaign
    progress : callable, optional
        Told each run before it is read.
    under_way : bool
        Whether tests are still to come, so that no point yet is no fault.
    cache : FramesCache, optional
        Where the frames of logs are kept for the next time.
    engine : Engine
        Where runs are reduced; results are the same to the last bit.

    Returns
    -------
    Reduction
        A run that fails is listed in `left_out` and does not stop the others.

    Raises
    ------
    ReductionError
        When no run at all gives a friction point, unless the campaign is under way.
    EngineError
        When the engine cannot do the work.
    """
    account = Account(campaign, progress)
    with engine([run.log for run in campaign.runs if run.id not in account.left_out]) as apply:
        return _reduced(campaign, account, apply, cache, under_way=under_way)


def _reduced(
    campaign: Campaign,
    account: Account,
    apply: Apply,
    cache: FramesCache | None,
    *,
    under_way: bool,
) -> Reduction:
    rig = campaign.rig

    zeros: dict[str, PackZero] = {}

    def at_first(_pack: Pack) -> tuple[Any, ...]:
        return rig, cache

    def with_zero(pack: Pack) -> tuple[Any, ...]:
        return rig, zeros.get(pack.name), cache

    for pack, (result, zero) in account.outcomes(apply, work_zero_run, "zero", at_first):
        zeros.setdefault(pack.name, zero)
        account.enter(result)

    drag_runs: list[DragData] = []
    for _, (result, data) in account.outcomes(apply, work_drag_run, "drag", with_zero):
        drag_runs.append(data)
        account.enter(result)
    expected = drag_of_others(drag_runs, campaign.oil)
    account.compare(
        drag_levels(drag_runs, expected), drag_courses(drag_runs, expected, DRAG_CELL_S), {}
    )
    drag_runs = [data for data in drag_runs if data.run not in account.left_out]
    rig, drag_runs, said = with_found_inertia(rig, drag_runs, campaign.oil)
    account.notices.extend(said)
    drags = {name: _pack_drag(campaign, pack, drag_runs) for name, pack in campaign.packs.items()}

    def with_drag(pack: Pack) -> tuple[Any, ...]:
        return rig, drags[pack.name].surface, zeros.get(pack.name), cache

    results = []
    for _, result in account.outcomes(apply, work_run, None, with_drag):
        results.append(result)
        account.enter(result)
    made = [r.points for r in results if r.points is not None]
    account.compare(friction_levels(made), friction_courses(made), swings(made))
    account.tell_faults()
    results = [_kept_out(result, account.left_out) for result in results]
    points = [r.points for r in results if r.points is not None]
    if not points and not under_way:
        each = [f"{run}: {why}" for run, why in account.left_out.items()]
        more = [f"and {len(each) - _MOST_NAMED} more"] if len(each) > _MOST_NAMED else []
        reasons = "; ".join([*each[:_MOST_NAMED], *more])
        raise ReductionError(
            f"no run gave a friction point ({reasons or 'there are no friction runs'})",
            where=str(campaign.path),
            do="Mend the runs named, or record new ones.",
        )
    late = _late(account.faults)
    delay = pooled_delay(
        [r.ripple for r in results if r.ripple is not None and r.run not in late],
        min((r.sample_s for r in results), default=math.inf),
    )
    account.notices.extend(delay_notices(delay, campaign.rig.path.name))
    tested = {pack for part in points for pack in part.pack.tolist()}

    unknown = {f.run for f in account.faults if f.leaves_out and f.channel in _OF_WORK}

    def sliding_in(runs: Sequence[Run]) -> Iterator[Sliding | None]:
        legible = [account.job(run, with_drag) for run in runs if run.id not in unknown]
        found = iter(apply(read_sliding, legible))
        for run in runs:
            outcome = None if run.id in unknown else next(found)
            yield None if isinstance(outcome, RigdataError) else outcome

    known = {r.run: r.sliding for r in results if r.sliding is not None}
    return Reduction(
        campaign=campaign,
        points=with_pack_work(aligned(concatenate(points), delay), campaign, known, sliding_in),
        traces=account.traces,
        summaries=account.summaries,
        said=account.said,
        left_out=account.left_out,
        faults=tuple(account.faults),
        notices=gathered(
            (
                *campaign.notices,
                *account.notices,
                *(n for name in drags if name in tested for n in drags[name].notices),
            )
        ),
        drag={name: drags[name].words for name in drags if name in tested},
        readings={
            name: aligned_reading(reading, delay)
            for result in results
            if result.points is not None
            for name, reading in zip(result.points.point.tolist(), result.readings, strict=True)
        },
    )


def _kept_out(result: RunResult, left_out: Mapping[str, str]) -> RunResult:
    """Return a result whose points are not used where its run is left out after all."""
    if result.run not in left_out or result.points is None:
        return result
    every = np.ones(len(result.points), dtype=np.bool_)
    points = result.points.not_used(every, left_out[result.run])
    return replace(result, points=points, ripple=None, sliding=None)


def _late(faults: Sequence[Fault]) -> set[str]:
    """Return the runs whose load lags in a way that the others do not share."""
    return {fault.run for fault in faults if fault.kind is Kind.LOAD_LAG}


@dataclass(frozen=True)
class _PackDrag:
    surface: Drag | None
    words: str
    notices: tuple[Notice, ...] = ()


def _pack_drag(campaign: Campaign, pack: Pack, drag_runs: Sequence[DragData]) -> _PackDrag:
    """Fit the pack's own drag, borrow that of its like, or go without, and say which."""
    own = [d for d in drag_runs if d.pack == pack.name]
    like = [d for d in drag_runs if _alike(campaign.packs, d.pack, pack.name)]
    short = _short(own, [d for d in like if d.pack != pack.name])
    where, do = f"pack {pack.name}", "Record a drag run of this pack."
    try:
        if own and not short:
            surface = fit_drag(own, campaign.oil)
            return _PackDrag(surface, f"own drag runs {', '.join(surface.runs)}")
        if like:
            surface = fit_drag(like, campaign.oil, borrowed=True)
            text = (
                f"{short or 'no drag run of its own'}; drag is borrowed from "
                f"{', '.join(surface.runs)} with a spread of {100 * surface.borrowed_u:.0f} % "
                "between packs"
            )
            return _PackDrag(
                surface,
                text,
                (Notice(Severity.WARNING, where, text, "Record it again." if short else do),),
            )
    except ReductionError as fault:
        text = f"drag could not be fitted ({fault.what}), so it stays in the coefficients"
        return _PackDrag(None, text, (Notice(Severity.WARNING, where, text, fault.do),))
    if campaign.oil is None:
        text = "no oil in campaign.toml and no drag run: run dry, no drag taken off"
        return _PackDrag(None, text, (Notice(Severity.NOTE, where, text),))
    text = "no drag run, so the drag of oil and seals stays in the coefficients"
    return _PackDrag(None, text, (Notice(Severity.WARNING, where, text, do),))


def _short(own: Sequence[DragData], others: Sequence[DragData]) -> str:
    """Say in words that own drag runs end early; what drag is beyond them would be a guess."""
    if not own or not others:
        return ""
    runs = ", ".join(d.run for d in own)
    tops = [float(np.abs(d.speed).max()) for d in others]
    reach = max(float(np.abs(d.speed).max()) for d in own)
    if reach < _REACH * np.median(tops):
        return f"{runs} reaches {reach:.3g} rad/s, as other packs do {np.median(tops):.3g} rad/s"
    spans = [float(np.ptp(d.oil_temperature)) for d in others]
    span = float(np.ptp(np.concatenate([d.oil_temperature for d in own])))
    if span < _REACH * np.median(spans) - _LEAST_SPAN_K:
        return f"the oil of {runs} goes through {span:.0f} K, of others {np.median(spans):.0f} K"
    return ""


def _alike(packs: Mapping[str, Pack], first: str, second: str) -> bool:
    a, b = packs[first], packs[second]
    return (a.friction_faces, a.outer_radius_mm, a.inner_radius_mm) == (
        b.friction_faces,
        b.outer_radius_mm,
        b.inner_radius_mm,
    )
