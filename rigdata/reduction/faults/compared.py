"""What only the comparison of runs shows, and how it is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from rigdata.reduction.faults.courses import Course
from rigdata.reduction.faults.fault import Action, Fault, Kind, Sureness
from rigdata.reduction.faults.levels import Level
from rigdata.reduction.faults.repeats import Swing
from rigdata.reduction.faults.traits import Traits


@dataclass(frozen=True, eq=False)
class Compared:
    """The runs of a campaign side by side.

    Attributes
    ----------
    traits : sequence of Traits
        Of every run whose log could be read.
    levels : mapping of str to Level
        Torque over load against like runs, where there are any.
    courses : mapping of str to Course
        How the torque goes over time beside like runs, where there are any.
    faults : sequence of Fault
        What the runs showed by themselves.
    swings : mapping of str to Swing
        How far readings of one run at one condition lie apart, where it has some.
    """

    traits: Sequence[Traits]
    levels: Mapping[str, Level]
    courses: Mapping[str, Course]
    faults: Sequence[Fault]
    swings: Mapping[str, Swing] = field(default_factory=dict)

    def has(self, run: str, *kinds: Kind) -> bool:
        """Whether a run has shown one of these kinds by itself."""
        return any(fault.run == run and fault.kind in kinds for fault in self.faults)


def fault_of(
    one: Traits, kind: Kind, channel: str, sureness: Sureness, evidence: str, action: Action
) -> Fault:
    """Return a fault of a whole run."""
    return Fault(kind, one.run, channel, *one.span, sureness, evidence, action)
