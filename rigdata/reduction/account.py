"""The running account of one reduction: what was read, found, said and left out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rigdata.campaign.campaign import Campaign, Pack, Run
from rigdata.engines.engine import Apply, Job
from rigdata.errors import Notice, RigdataError, Severity
from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.courses import Course
from rigdata.reduction.faults.fault import Action, Fault, why_left_out
from rigdata.reduction.faults.levels import Level
from rigdata.reduction.faults.registry import find_between, settled
from rigdata.reduction.faults.repeats import Swing
from rigdata.reduction.faults.traits import Traits
from rigdata.reduction.results import RunSummary
from rigdata.reduction.run import RunResult
from rigdata.reduction.trace import Trace
from rigdata.reduction.work import Result, Worked
from rigdata.steps import Progress, Step, silent

_ALREADY_USED = "zero", "drag"


@dataclass
class Account:
    """What one reduction has come to so far."""

    campaign: Campaign
    progress: Progress | None
    left_out: dict[str, str] = field(default_factory=dict)
    notices: list[Notice] = field(default_factory=list)
    summaries: dict[str, RunSummary] = field(default_factory=dict)
    traces: dict[str, Trace] = field(default_factory=dict)
    said: dict[str, tuple[Notice, ...]] = field(default_factory=dict)
    read: set[str] = field(default_factory=set)
    faults: list[Fault] = field(default_factory=list)
    traits: list[Traits] = field(default_factory=list)

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
                return run.procedure not in _ALREADY_USED
            return run.procedure == procedure

        return [run for run in self.campaign.runs if wanted(run) and run.id not in self.left_out]

    def outcomes(
        self,
        apply: Apply,
        work: Callable[..., Worked[Result]],
        procedure: str | None,
        given: Callable[[Pack], tuple[Any, ...]],
    ) -> Iterator[tuple[Pack, Result]]:
        """Yield what each run of a procedure gave, in their order; leave out those that fail.

        The work takes the run, its pack, and what is `given` for the pack.
        """
        runs = self.pending(procedure)
        found = iter(apply(work, [self.job(run, given) for run in runs]))
        total = len(self.campaign.runs) - self.not_read
        for run in runs:
            (self.progress or silent)(Step(f"reading run {run.id}", len(self.read), total))
            self.read.add(run.id)
            outcome = next(found)
            if isinstance(outcome, RigdataError):
                self.leave_out(run, str(outcome), outcome)
                continue
            self.faults.extend(outcome.faults)
            self.traits.append(outcome.traits)
            if outcome.reason is not None:
                self.leave_out(run, str(outcome.reason), outcome.reason)
            elif outcome.result is None:  # told in the end, in the light of the other runs
                self.left_out[run.id] = why_left_out(outcome.faults)
            else:
                yield self.campaign.packs[run.pack], outcome.result

    def job(self, run: Run, given: Callable[[Pack], tuple[Any, ...]]) -> Job:
        """Return the work on one run, dated as the campaign where it has no date."""
        dated = replace(run, date=run.date or self.campaign.date)
        pack = self.campaign.packs[run.pack]
        return Job(f"run {run.id}", run.log, (dated, pack, *given(pack)))

    def compare(
        self,
        levels: Mapping[str, Level],
        courses: Mapping[str, Course],
        swings: Mapping[str, Swing],
    ) -> None:
        """Look for what the runs read so far show side by side.

        What a zero or drag run gave is in use once the others are reduced: it is then
        told, and stays.
        """
        compared = Compared(self.traits, levels, courses, self.faults, swings)
        self.faults = list(settled(compared))
        told = {(fault.run, fault.kind) for fault in self.faults}
        procedures = {run.id: run.procedure for run in self.campaign.runs}
        late = any(procedures[one.run] not in _ALREADY_USED for one in self.traits)
        for fault in find_between(compared):
            used = late and procedures[fault.run] in _ALREADY_USED
            if (fault.run, fault.kind) not in told:
                self.faults.append(replace(fault, action=Action.KEPT) if used else fault)
        for fault in self.faults:
            if fault.action is Action.LEFT_OUT:
                self.left_out[fault.run] = why_left_out(
                    f for f in self.faults if f.run == fault.run
                )

    def tell_faults(self) -> None:
        """Say of each run what was found in it."""
        for fault in self.faults:
            self._say(fault.run, fault.notice)

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
