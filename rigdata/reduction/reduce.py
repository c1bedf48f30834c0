"""A whole campaign from its logs to friction points."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from rigdata.campaign.campaign import Campaign, Pack, Run
from rigdata.engines.engine import Apply, Engine, Job, Result, alone
from rigdata.errors import Notice, ReductionError, RigdataError, Severity, gathered
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.alignment import aligned, aligned_reading, delay_notices, pooled_delay
from rigdata.reduction.drag import Drag, DragData, fit_drag
from rigdata.reduction.inertia import with_found_inertia
from rigdata.reduction.points import concatenate
from rigdata.reduction.results import Reduction, RunSummary
from rigdata.reduction.run import (
    RunResult,
    read_sliding,
    reduce_drag_run,
    reduce_run,
    reduce_zero_run,
)
from rigdata.reduction.sliding import Sliding, with_pack_work
from rigdata.reduction.trace import Trace
from rigdata.reduction.zero import PackZero
from rigdata.steps import Progress, Step, silent

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
    account = _Account(campaign, progress)
    with engine([run.log for run in campaign.runs if run.id not in account.left_out]) as apply:
        return _reduced(campaign, account, apply, cache, under_way=under_way)


def _reduced(
    campaign: Campaign,
    account: _Account,
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

    for pack, (result, zero) in account.outcomes(apply, reduce_zero_run, "zero", at_first):
        zeros.setdefault(pack.name, zero)
        account.enter(result)

    drag_runs: list[DragData] = []
    for _, (result, data) in account.outcomes(apply, reduce_drag_run, "drag", with_zero):
        drag_runs.append(data)
        account.enter(result)
    rig, drag_runs, said = with_found_inertia(rig, drag_runs, campaign.oil)
    account.notices.extend(said)
    drags = {name: _pack_drag(campaign, pack, drag_runs) for name, pack in campaign.packs.items()}

    def with_drag(pack: Pack) -> tuple[Any, ...]:
        return rig, drags[pack.name].surface, zeros.get(pack.name), cache

    results = []
    for _, result in account.outcomes(apply, reduce_run, None, with_drag):
        results.append(result)
        account.enter(result)
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
    delay = pooled_delay(
        [r.ripple for r in results if r.ripple is not None],
        min((r.sample_s for r in results), default=math.inf),
    )
    account.notices.extend(delay_notices(delay, campaign.rig.path.name))
    tested = {pack for part in points for pack in part.pack.tolist()}

    def sliding_in(runs: Sequence[Run]) -> Iterator[Sliding | None]:
        for outcome in apply(read_sliding, [account.job(run, with_drag) for run in runs]):
            yield None if isinstance(outcome, RigdataError) else outcome

    known = {r.run: r.sliding for r in results if r.sliding is not None}
    return Reduction(
        campaign=campaign,
        points=with_pack_work(aligned(concatenate(points), delay), campaign, known, sliding_in),
        traces=account.traces,
        summaries=account.summaries,
        said=account.said,
        left_out=account.left_out,
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


@dataclass
class _Account:
    """The running account of one reduction: what was read, said and left out."""

    campaign: Campaign
    progress: Progress | None
    left_out: dict[str, str] = field(default_factory=dict)
    notices: list[Notice] = field(default_factory=list)
    summaries: dict[str, RunSummary] = field(default_factory=dict)
    traces: dict[str, Trace] = field(default_factory=dict)
    said: dict[str, tuple[Notice, ...]] = field(default_factory=dict)
    read: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        for run in self.campaign.runs:
            if run.exclude:
                self.leave_out(run, f"excluded in campaign.toml: {run.exclude}")
            elif not run.log.is_file():
                # The campaign's own notices say so already.
                self.left_out[run.id] = f"there is no log {run.log.name}"
        self.not_read = len(self.left_out)

    def pending(self, procedure: str | None) -> list[Run]:
        """Return the runs of one procedure, or with None all that measure friction."""

        def wanted(run: Run) -> bool:
            if procedure is None:
                return run.procedure not in ("zero", "drag")
            return run.procedure == procedure

        return [run for run in self.campaign.runs if wanted(run) and run.id not in self.left_out]

    def outcomes(
        self,
        apply: Apply,
        function: Callable[..., Result],
        procedure: str | None,
        given: Callable[[Pack], tuple[Any, ...]],
    ) -> Iterator[tuple[Pack, Result]]:
        """Yield what each run of a procedure gave, in their order; leave out those that fail.

        The function takes the run, its pack, and what is `given` for the pack.
        """
        runs = self.pending(procedure)
        found = iter(apply(function, [self.job(run, given) for run in runs]))
        total = len(self.campaign.runs) - self.not_read
        for run in runs:
            (self.progress or silent)(Step(f"reading run {run.id}", len(self.read), total))
            self.read.add(run.id)
            outcome = next(found)
            if isinstance(outcome, RigdataError):
                self.leave_out(run, str(outcome), outcome)
            else:
                yield self.campaign.packs[run.pack], outcome

    def job(self, run: Run, given: Callable[[Pack], tuple[Any, ...]]) -> Job:
        """Return the work on one run, dated as the campaign where it has no date."""
        dated = replace(run, date=run.date or self.campaign.date)
        pack = self.campaign.packs[run.pack]
        return Job(f"run {run.id}", run.log, (dated, pack, *given(pack)))

    def leave_out(self, run: Run, why: str, fault: RigdataError | None = None) -> None:
        """Note that a run has no result."""
        self.left_out[run.id] = why
        what, do = (fault.what, fault.do) if fault is not None else (why, "")
        self._say(run.id, Notice(Severity.LEFT_OUT, f"run {run.id}", what, do))

    def _say(self, run: str, *notices: Notice) -> None:
        self.notices.extend(notices)
        self.said[run] = (*self.said.get(run, ()), *notices)

    def enter(self, result: RunResult) -> None:
        """Enter one reduced run."""
        self._say(result.run, *result.notices)
        self.traces[result.run] = result.trace
        self.summaries[result.run] = RunSummary(
            run=result.run,
            n_rows=result.n_rows,
            n_points=len(result.points) if result.points is not None else 0,
            flagged=result.flagged,
            log_sha256=result.log_sha256,
        )


@dataclass(frozen=True)
class _PackDrag:
    surface: Drag | None
    words: str
    notices: tuple[Notice, ...] = ()


def _pack_drag(campaign: Campaign, pack: Pack, drag_runs: Sequence[DragData]) -> _PackDrag:
    """Fit the pack's own drag, borrow that of its like, or go without, and say which."""
    own = [d for d in drag_runs if d.pack == pack.name]
    like = [d for d in drag_runs if _alike(campaign.packs, d.pack, pack.name)]
    where = f"pack {pack.name}"
    try:
        if own:
            surface = fit_drag(own, campaign.oil)
            return _PackDrag(surface, f"own drag runs {', '.join(surface.runs)}")
        if like:
            surface = fit_drag(like, campaign.oil, borrowed=True)
            text = (
                f"no drag run of its own; drag is borrowed from {', '.join(surface.runs)} "
                f"with a spread of {100 * surface.borrowed_u:.0f} % between packs"
            )
            return _PackDrag(
                surface,
                text,
                (Notice(Severity.WARNING, where, text, "Record a drag run of this pack."),),
            )
    except ReductionError as fault:
        text = f"drag could not be fitted ({fault.what}), so it stays in the coefficients"
        return _PackDrag(None, text, (Notice(Severity.WARNING, where, text, fault.do),))
    if campaign.oil is None:
        text = "no oil in campaign.toml and no drag run: run dry, no drag taken off"
        return _PackDrag(None, text, (Notice(Severity.NOTE, where, text),))
    text = "no drag run, so the drag of oil and seals stays in the coefficients"
    return _PackDrag(
        None, text, (Notice(Severity.WARNING, where, text, "Record a drag run of this pack."),)
    )


def _alike(packs: Mapping[str, Pack], first: str, second: str) -> bool:
    a, b = packs[first], packs[second]
    return (a.friction_faces, a.outer_radius_mm, a.inner_radius_mm) == (
        b.friction_faces,
        b.outer_radius_mm,
        b.inner_radius_mm,
    )
