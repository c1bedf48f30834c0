"""What the reduction of a campaign hands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from rigdata.campaign.campaign import Campaign
from rigdata.errors import Notice
from rigdata.reduction.faults.fault import Fault
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reading import Reading
from rigdata.reduction.trace import Trace


@dataclass(frozen=True, eq=False)
class RunSummary:
    """What was read from one run's log.

    Attributes
    ----------
    n_rows : int
        Rows read.
    n_points : int
        Friction points made; 0 for zero and drag runs.
    flagged : mapping of str to mapping of str to int
        Flagged samples by channel, then by the flag's name.
    log_sha256 : str
        Hash of the log.
    """

    run: str
    n_rows: int
    n_points: int
    flagged: Mapping[str, Mapping[str, int]]
    log_sha256: str


@dataclass(frozen=True, eq=False)
class Reduction:
    """Friction points of a campaign, and everything that was left out.

    Attributes
    ----------
    campaign : Campaign
        What was reduced.
    points : FrictionPoints
        All points, those not used included.
    traces : mapping of str to Trace
        Thinned record of each run that was reduced.
    summaries : mapping of str to RunSummary
        What was read, by run.
    left_out : mapping of str to str
        Runs without a result, and why.
    notices : tuple of Notice
        Everything else worth knowing, the campaign's own notices first.
    drag : mapping of str to str
        For each pack, in words, what drag was taken off.
    readings : mapping of str to Reading
        What each point was read from, by the point's name.
    said : mapping of str to tuple of Notice
        What was said of each run alone, before like notices were made one.
    faults : tuple of Fault
        Faults of the bench found in the logs.
    """

    campaign: Campaign
    points: FrictionPoints
    traces: Mapping[str, Trace]
    summaries: Mapping[str, RunSummary]
    left_out: Mapping[str, str]
    notices: tuple[Notice, ...]
    drag: Mapping[str, str]
    readings: Mapping[str, Reading] = field(default_factory=dict, repr=False)
    said: Mapping[str, tuple[Notice, ...]] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def __post_init__(self) -> None:
        for name in ("traces", "summaries", "left_out", "drag", "readings", "said"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))
