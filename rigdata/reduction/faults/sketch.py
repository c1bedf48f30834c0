"""A run as faults are looked for in it: before anything but a first zero is taken off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.calibration.channels import to_signals
from rigdata.calibration.signals import Signals
from rigdata.campaign.campaign import Pack, Run
from rigdata.campaign.rig import Rig
from rigdata.logs.flags import Flag
from rigdata.logs.frames import Frames
from rigdata.reduction.faults.fault import EVERY_CHANNEL, Action, Fault, Kind, Sureness
from rigdata.reduction.geometry import Geometry, pack_geometry
from rigdata.reduction.stretches import Stretch, median_step, runs_of
from rigdata.reduction.zero import LEAST_IDLE_S, idle_limit

CELLS = ("torque", "clamp_load")
CLEAR = 6.0  # standard deviations that noise does not reach
_FEWEST = 12  # frames that show the noise
_LONGEST_S = 2.5
_PRESSED = 0.04  # of the top load
_CREEP, _CREEP_RAD_S = 0.02, 0.02  # of the top speed, and in itself: no slip


@dataclass(frozen=True, eq=False)
class Sketch:
    """One run in rough lines.

    Attributes
    ----------
    frames : Frames
        The log in frames, in logged units.
    signals : Signals
        The same in SI.
    first : slice
        The first frames, which the run should begin with unloaded at standstill.
    tared : bool
        Whether it does; else nothing was taken off.
    """

    run: Run
    pack: Pack
    rig: Rig
    frames: Frames
    signals: Signals
    first: slice
    tared: bool

    @cached_property
    def time(self) -> FloatArray:
        """(n,) time of each frame. [s]"""
        return self.signals.time_s

    @cached_property
    def step_s(self) -> float:
        """Median time between frames. [s]"""
        return median_step(self.time)

    @cached_property
    def torque(self) -> FloatArray:
        """(n,) torque less its first reading, NaN where it is not good. [N m]"""
        return self._less_first("torque")

    @cached_property
    def load(self) -> FloatArray:
        """(n,) clamp load less its first reading, NaN where it is not good. [N]"""
        return self._less_first("clamp_load")

    @cached_property
    def speed(self) -> FloatArray:
        """(n,) slip speed, NaN where it is not good. [rad/s]"""
        return self.channel("slip_speed")

    @cached_property
    def noise(self) -> Mapping[str, float]:
        """Standard deviation of torque, load and speed over the first frames."""
        return {
            name: robust_sd(self.channel(name)[self.first])
            for name in ("torque", "clamp_load", "slip_speed")
        }

    @cached_property
    def rest(self) -> float:
        """Speed that the noise of a pickup at standstill reaches. [rad/s]"""
        size = np.abs(self.speed)
        known = np.isfinite(size)
        if not self.tared or not known[self.first].any():
            return 1e-9
        first = size[self.first][known[self.first]]
        # A dozen frames do not know their spread: those that follow are taken along
        # until two in a row are far outside of it.
        away = known & (size > first.mean() + 8.0 * first.std() + 1e-9)
        gone = np.flatnonzero(away[:-1] & away[1:])
        still = size[: gone[0] if gone.size else size.size]
        still = still[np.isfinite(still)]
        return max(float(still.mean() + 4.0 * still.std()), 1e-9)

    @cached_property
    def top_load(self) -> float:
        """Load that the run goes up to, whatever its sign. [N]"""
        return _top(self.load)

    @cached_property
    def pressed(self) -> BoolArray:
        """(n,) where the pack is under load, whatever its sign."""
        if self.run.procedure in ("zero", "drag"):
            return np.zeros(self.time.size, np.bool_)
        least = max(_PRESSED * self.top_load, CLEAR * self.noise["clamp_load"])
        return np.nan_to_num(np.abs(self.load)) > least

    @cached_property
    def moving(self) -> BoolArray:
        """(n,) where the plates slip."""
        return np.nan_to_num(np.abs(self.speed)) > 2.0 * self.rest

    @cached_property
    def still(self) -> BoolArray:
        """(n,) where a good reading shows standstill."""
        return np.isfinite(self.speed) & ~self.moving

    @cached_property
    def usual_torque(self) -> float:
        """Torque that the run holds while it slips under load: the upper quartile. [N m]"""
        torque = np.abs(self.torque[self.moving & self.pressed])
        torque = torque[np.isfinite(torque)]
        return float(np.percentile(torque, 75)) if torque.size else 0.0

    @cached_property
    def geometry(self) -> Geometry:
        """The geometry of the pack."""
        return pack_geometry(self.pack)

    def channel(self, name: str) -> FloatArray:
        """(n,) a channel in SI, NaN where it is not good."""
        signal = self.signals.channels[name]
        values: FloatArray = np.where(signal.good, signal.values, np.nan)
        return values

    def logged(self, name: str) -> str | None:
        """Return the logged channel that a quantity comes from, None for a constant."""
        if name == "clamp_load" and name not in self.frames.values:
            name = "cylinder_pressure"
        return name if name in self.frames.values else None

    def frame_at(self, seconds: float) -> int:
        """Return how many frames a time is, 1 at least."""
        return max(1, round(seconds / self.step_s))

    def near(self, mask: BoolArray, seconds: float) -> BoolArray:
        """(n,) where a frame of `mask` is no further away than `seconds`."""
        found = np.zeros(mask.size, np.bool_)
        for part in runs_of(mask):
            reach = self.time[part.start] - seconds, self.time[part.stop - 1] + seconds
            low, high = np.searchsorted(self.time, reach)
            found[low : high + 1] = True
        return found

    def fault(
        self,
        kind: Kind,
        channel: str,
        span: Stretch | None,
        sureness: Sureness,
        evidence: str,
        action: Action,
    ) -> Fault:
        """Return a fault of this run over `span`, or over all of it."""
        whole = Stretch(0, self.time.size) if span is None else span
        start, end = float(self.time[whole.start]), float(self.time[whole.stop - 1])
        return Fault(kind, self.run.id, channel, start, end, sureness, evidence, action)

    def without(self, spoilt: Mapping[str, BoolArray]) -> Sketch:
        """Return the run with the frames that a fault spoils marked as missing."""
        flags = {name: column.copy() for name, column in self.frames.flags.items()}
        for name, mask in spoilt.items():
            for key in flags if name == EVERY_CHANNEL else [name]:
                if key in flags:
                    flags[key][mask] |= np.uint8(Flag.MISSING)
        frames = replace(self.frames, flags=flags)
        signals = to_signals(frames, self.rig, run=self.run.id, date=self.run.date)
        return replace(self, frames=frames, signals=signals)

    def _less_first(self, name: str) -> FloatArray:
        values = self.channel(name)
        first = values[self.first]
        known = first[np.isfinite(first)]
        return values - float(np.median(known)) if self.tared and known.size else values


def sketch(frames: Frames, run: Run, pack: Pack, rig: Rig) -> Sketch:
    """Draw up a run from its log.

    Raises
    ------
    CalibrationError, CampaignError, LogError
        When a channel cannot be read at all.
    """
    signals = to_signals(frames, rig, run=run.id, date=run.date)
    time = signals.time_s
    since = time - time[0]
    count = max(int(np.searchsorted(since, LEAST_IDLE_S)), _FEWEST)
    first = slice(0, min(count, int(np.searchsorted(since, _LONGEST_S)) + 1))
    load, speed = signals.channels["clamp_load"], signals.channels["slip_speed"].values
    idle = True
    if load.good.any() and rig.channels.get("clamp_load") is not None:
        limit = idle_limit(load, rig.channels.get("clamp_load"))
        level = np.abs(load.values[first][load.good[first]])
        # Twice, because a load channel that shows another cell has that cell's zero.
        idle = level.size == 0 or float(np.median(level)) <= 2.0 * limit
    known = np.abs(speed[np.isfinite(speed)])
    if known.size:
        start = np.abs(speed[first])[np.isfinite(speed[first])]
        creep = max(_CREEP * float(known.max()), _CREEP_RAD_S)
        idle &= start.size == 0 or float(np.median(start)) <= creep
    return Sketch(run, pack, rig, frames, signals, first, bool(idle))


def robust_sd(values: FloatArray) -> float:
    """Return 1.4826 times the median distance from the median; 0 for fewer than three.

    A spike at the very end of a log cannot be told from a step, and stays in.
    """
    known = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(known - np.median(known)))) if known.size > 2 else 0.0


def _top(values: FloatArray) -> float:
    known = np.abs(values[np.isfinite(values)])
    return float(np.percentile(known, 99.5)) if known.size else 0.0
