"""A fault of the bench as it is told: what, where, how sure, and what was done."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rigdata.arrays import BoolArray
from rigdata.errors import Notice, ReductionError, Severity

EVERY_CHANNEL = "time"  # a fault of the clock touches all of them


class Kind(enum.Enum):
    """The kinds of fault, in the words of the bench; ``{}`` is the channel."""

    UNPLUGGED = "{} cell unplugged"
    SATURATED = "{} cell saturated"
    SWAPPED = "torque and clamp load are swapped"
    SIGN = "{} has the wrong sign"
    UNIT = "{} is in another unit than the rig file says"
    CLOCK = "the clock of the log is at fault"
    ALIASING = "{} carries an oscillation that the log is too slow to show"
    ZERO_DRIFT = "zero of the {} drifts beyond its limit"
    LOAD_LAG = "the clamp load lags behind the torque"
    NO_SLIP = "the pack stops slipping"
    OPEN_THERMOCOUPLE = "plate thermocouple open"
    REVERSED_THERMOCOUPLE = "plate thermocouple reversed"
    CUT_OFF = "the log is cut off"
    SPEED_DROPOUT = "the speed pickup drops out to zero"
    ODD_LEVEL = "the coefficients are unlike those of like runs"

    @property
    def slug(self) -> str:
        """The kind as files and JSON name it, such as ``zero-drift``."""
        return self.name.lower().replace("_", "-")


class Sureness(enum.Enum):
    """How sure a finding is; the evidence holds the numbers."""

    CERTAIN = "certain"  # nothing else leaves such a trace, or two signs agree
    LIKELY = "likely"  # one clear sign
    POSSIBLE = "possible"  # another cause would leave the same


class Action(enum.Enum):
    """What was done about a fault."""

    FRAMES = "the samples concerned are not used"
    KEPT = "the run is kept"
    LEFT_OUT = "the run is left out"


_DO = {
    Kind.UNPLUGGED: "Check the cell, its plug and its cable.",
    Kind.SATURATED: "Widen the range of its amplifier, or load it less.",
    Kind.SWAPPED: "Change the two plugs, or the two columns in the rig file.",
    Kind.SIGN: "Check the wiring, or the sign of its calibration record.",
    Kind.UNIT: "Check the setting of the logger on that day.",
    Kind.CLOCK: "Look for a restarted logger, or a time column with too few digits.",
    Kind.ALIASING: "Log faster, or put a low-pass filter before the logger.",
    Kind.ZERO_DRIFT: "Let the cell warm up, and look for what rubs or leans on it.",
    Kind.LOAD_LAG: "Take the filter off that channel, or give the others the same.",
    Kind.NO_SLIP: "Look at the drive and at the plates.",
    Kind.OPEN_THERMOCOUPLE: "Look for a broken wire or a loose plug.",
    Kind.REVERSED_THERMOCOUPLE: "Change its two wires.",
    Kind.CUT_OFF: "Let the logger run on until the bench stands unloaded.",
    Kind.SPEED_DROPOUT: "Check the gap, the plug and the cable of the pickup.",
    Kind.ODD_LEVEL: "Look at the trace and at what was changed for this run.",
}


@dataclass(frozen=True)
class Fault:
    """A fault found in one run.

    Attributes
    ----------
    kind : Kind
        What it is.
    run, channel : str
        Where it is.
    start_s, end_s : float
        From when to when in the log. [s]
    sureness : Sureness
        How sure that is.
    evidence : str
        What shows it, with numbers and units.
    action : Action
        What was done.
    """

    kind: Kind
    run: str
    channel: str
    start_s: float
    end_s: float
    sureness: Sureness
    evidence: str
    action: Action

    @property
    def leaves_out(self) -> bool:
        """Whether its run is left out for it."""
        return self.action is Action.LEFT_OUT

    @property
    def words(self) -> str:
        """The fault in one sentence."""
        name = self.channel.replace("_", " ")
        title = self.kind.value.format(name)
        return f"{title} ({self.sureness.value}): {self.evidence}; {self.action.value}"

    @property
    def notice(self) -> Notice:
        """The fault as everything else that is told of a run."""
        severity = Severity.LEFT_OUT if self.leaves_out else Severity.WARNING
        return Notice(severity, f"run {self.run}", self.words, _DO[self.kind])

    def to_dict(self) -> dict[str, str | float]:
        """Return the fault as plain values, for JSON."""
        return {
            "kind": self.kind.slug,
            "run": self.run,
            "channel": self.channel,
            "start_s": self.start_s,
            "end_s": self.end_s,
            "sureness": self.sureness.value,
            "evidence": self.evidence,
            "action": self.action.value,
            "do": _DO[self.kind],
        }


@dataclass(frozen=True, eq=False)
class Finding:
    """A fault and the frames that it spoils.

    Attributes
    ----------
    fault : Fault
    spoilt : mapping of str to (n,) bool
        Frames not to be used, by channel; `EVERY_CHANNEL` stands for all.
    """

    fault: Fault
    spoilt: Mapping[str, BoolArray] = field(default_factory=dict)


class FaultyRunError(ReductionError):
    """A run that must be left out for the faults found in it."""

    def __init__(self, faults: tuple[Fault, ...], why: str = "") -> None:
        self.faults = faults
        worst = [f for f in faults if f.action is Action.LEFT_OUT] or list(faults)
        told: dict[str, Any] = dict.fromkeys(f.words for f in worst)
        if why:
            told[why] = None
        do = " ".join(dict.fromkeys(_DO[f.kind] for f in worst))
        super().__init__("; ".join(told), where=f"run {faults[0].run}", do=do)
