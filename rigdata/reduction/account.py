"""The running account of one reduction: what was read, found, said and left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from rigdata.campaign.campaign import Campaign, Pack, Run
from rigdata.campaign.rig import Rig
from rigdata.errors import Notice, RigdataError, Severity
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.courses import Course
from rigdata.reduction.faults.fault import Action, Fault, FaultyRunError
from rigdata.reduction.faults.levels import Level
from rigdata.reduction.faults.registry import find_between, settled
from rigdata.reduction.faults.traits import Traits
from rigdata.reduction.results import RunSummary
from rigdata.reduction.run import Examined, RunResult, examine_run
from rigdata.reduction.trace import Trace
from rigdata.steps import Progress, Step, silent

_ALREADY_USED = "zero", "drag"


@dataclass
class Account:
    """The running account of one reduction: what was read, said and left out."""

    campaign: Campaign
    progress: Progress | None
    cache: FramesCache | None = None
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

    def pending(self, procedure: str | None) -> Iterator[tuple[Run, Pack]]:
        """Yield the runs of one procedure, or with None all that measure friction."""
        for run in self.campaign.runs:
            wanted = run.procedure == procedure
            if procedure is None:
                wanted = run.procedure not in ("zero", "drag")
            if wanted and run.id not in self.left_out:
                done, total = len(self.read), len(self.campaign.runs) - self.not_read
                (self.progress or silent)(Step(f"reading run {run.id}", done, total))
                self.read.add(run.id)
                yield self.dated(run), self.campaign.packs[run.pack]

    def dated(self, run: Run) -> Run:
        """Return the run with its date: that of the campaign where it has none."""
        return replace(run, date=run.date or self.campaign.date)

    @contextmanager
    def attempt(self, run: Run) -> Iterator[None]:
        """Leave a run out, with its reason, when the work on it fails."""
        try:
            yield
        except FaultyRunError as fault:  # told in the end, in the light of the other runs
            self.left_out[run.id] = fault.what
        except RigdataError as fault:
            self.leave_out(run, str(fault), fault)

    def examine(self, run: Run, pack: Pack, rig: Rig) -> Examined:
        """Read a log and look for faults in it.

        Raises
        ------
        FaultyRunError
            When the run must be left out for one of them.
        """
        examined = examine_run(run, pack, rig, self.cache)
        self.faults.extend(examined.faults)
        self.traits.append(examined.traits)
        if any(fault.action is Action.LEFT_OUT for fault in examined.faults):
            raise FaultyRunError(examined.faults)
        return examined

    def compare(self, levels: Mapping[str, Level], courses: Mapping[str, Course]) -> None:
        """Look for what the runs read so far show side by side.

        What a zero or drag run gave is in use once the others are reduced: it is then
        told, and stays.
        """
        compared = Compared(self.traits, levels, courses, self.faults)
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
                own = [f.words for f in self.faults if f.run == fault.run and f.leaves_out]
                self.left_out[fault.run] = "; ".join(own)

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
