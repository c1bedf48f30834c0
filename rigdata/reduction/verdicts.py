"""Verdicts on the runs of a campaign, finished or under way."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from rigdata.campaign.campaign import Campaign, Run
from rigdata.errors import Notice, RigdataError, Severity
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.faults.fault import Fault
from rigdata.reduction.reduce import reduce_campaign
from rigdata.reduction.results import Reduction
from rigdata.reduction.run import trace_as_read
from rigdata.reduction.trace import Trace
from rigdata.steps import Progress

GOOD, LOOK, REPEAT = "good", "look", "repeat"
TO_COME, EXCLUDED = "to come", "excluded"
VERDICTS = (REPEAT, LOOK, GOOD, TO_COME, EXCLUDED)  # those that ask for something first


@dataclass(frozen=True)
class RunVerdict:
    """What to make of one run.

    Attributes
    ----------
    run : Run
    verdict : str
        One of `VERDICTS`: nothing to say against it; it gave points but deserves a
        look; it gave none; its log is not there yet; the campaign leaves it out.
    reason : str
        Why, in words; empty for a good run.
    do : str
        What can be done about it; empty when nothing is needed.
    n_points : int or None
        Friction points that it gave; None where it was not reduced.
    trace : Trace or None
        Its course, where its log could be read.
    """

    run: Run
    verdict: str
    reason: str
    do: str
    n_points: int | None
    trace: Trace | None


@dataclass(frozen=True)
class CampaignCheck:
    """The verdicts on all runs of a campaign.

    Attributes
    ----------
    campaign : Campaign
    runs : tuple of RunVerdict
        In the order of campaign.toml.
    notices : tuple of Notice
        What concerns more than one run.
    faults : tuple of Fault
        Faults of the bench found in the logs, run by run.
    """

    campaign: Campaign
    runs: tuple[RunVerdict, ...]
    notices: tuple[Notice, ...]
    faults: tuple[Fault, ...] = ()

    @property
    def counts(self) -> dict[str, int]:
        """How many runs have each verdict, in the order of `VERDICTS`."""
        found = [run.verdict for run in self.runs]
        return {verdict: found.count(verdict) for verdict in VERDICTS if verdict in found}

    @property
    def passed(self) -> bool:
        """Whether nothing was left out and every check was met; runs to come are no fault."""
        sound = all(run.verdict in (GOOD, TO_COME) for run in self.runs)
        return sound and all(n.severity is Severity.NOTE for n in self.notices)


def check_campaign(
    campaign: Campaign, *, progress: Progress | None = None, cache: FramesCache | None = None
) -> CampaignCheck:
    """Read every log that is there and judge each run.

    Parameters
    ----------
    campaign : Campaign
        Runs whose logs are not there yet are to come.
    progress : callable, optional
        Told each run before it is read.
    cache : FramesCache, optional
        Where the frames of logs are kept for the next time.
    """
    reduction = reduce_campaign(campaign, progress=progress, under_way=True, cache=cache)
    runs = tuple(_judged(run, reduction, cache) for run in campaign.runs)
    own = {notice for notices in reduction.said.values() for notice in notices}
    absent = {f"run {one.run.id}" for one in runs if one.verdict == TO_COME}
    alone = {(n.severity, n.what, n.do) for n in own}
    others = [
        n
        for n in reduction.notices
        if (n.severity, n.what, n.do) not in alone and n.where not in absent
    ]
    return CampaignCheck(campaign, runs, tuple(others), reduction.faults)


def _judged(run: Run, reduction: Reduction, cache: FramesCache | None) -> RunVerdict:
    summary = reduction.summaries.get(run.id)
    reduced = summary is not None and run.id not in reduction.left_out
    verdict, reason, do = _verdict(run, reduction.said.get(run.id, ()), reduced=reduced)
    trace = reduction.traces.get(run.id)
    if trace is None and verdict == REPEAT:
        with suppress(RigdataError):
            pack = reduction.campaign.packs[run.pack]
            trace = trace_as_read(run, pack, reduction.campaign.rig, cache)
    return RunVerdict(run, verdict, reason, do, summary.n_points if summary else None, trace)


def _verdict(run: Run, said: Sequence[Notice], *, reduced: bool) -> tuple[str, str, str]:
    if run.exclude:
        return EXCLUDED, run.exclude, ""
    if not run.log.is_file():
        return TO_COME, f"no log {run.log.name} yet", ""
    found = [notice for notice in said if notice.severity is not Severity.NOTE]
    found.sort(key=lambda notice: notice.severity is not Severity.LEFT_OUT)
    if found:
        reason = "; ".join(dict.fromkeys(notice.what for notice in found))
        do = " ".join(dict.fromkeys(f"{n.do.rstrip('.')}." for n in found if n.do))
        return LOOK if reduced else REPEAT, reason, do
    return GOOD, "", ""
