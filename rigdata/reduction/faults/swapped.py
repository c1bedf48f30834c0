"""Torque and clamp load in each other's place, and channels read the wrong way round."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from rigdata.arrays import BoolArray
from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.fault import Action, Fault, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import CLEAR, Sketch
from rigdata.reduction.faults.traits import others
from rigdata.reduction.stretches import Stretch

_LEAST_S = 0.2
_FEWEST = 3
_LITTLE, _MUCH = 0.02, 0.08  # of the top of a channel
_RARE = 0.3
_FALLING = -0.3  # correlation of drag torque with speed
_END_S, _TIMES = 1.0, 3.0


def swapped(sketch: Sketch) -> Iterator[Finding]:
    """Find torque and clamp load changed round.

    A pack can be pressed without slip, which gives no torque; but no pack gives torque
    without load.  At standstill the channel that rises alone is the load.
    """
    if sketch.run.procedure in ("zero", "drag") or not sketch.tared:
        return
    torque, load = np.nan_to_num(np.abs(sketch.torque)), np.nan_to_num(np.abs(sketch.load))
    top_torque, top_load = np.percentile(torque, 99.5), sketch.top_load
    noise_t, noise_f = (CLEAR * sketch.noise[name] for name in ("torque", "clamp_load"))
    if top_torque < 2.0 * noise_t or top_load < 2.0 * noise_f:
        return
    # A zero that drifted stands in the torque of the idle end too.
    end = torque[-max(_FEWEST, sketch.frame_at(_END_S)) :]
    drift = _TIMES * float(np.median(end))
    alone = sketch.still & (torque > max(_MUCH * top_torque, noise_t, drift))
    alone &= load < max(_LITTLE * top_load, noise_f)
    right = sketch.still & (load > max(_MUCH * top_load, noise_f))
    right &= torque < max(_LITTLE * top_torque, noise_t)
    count = int(np.count_nonzero(alone))
    if count < max(_FEWEST, sketch.frame_at(_LEAST_S)):
        return
    if np.count_nonzero(right) > _RARE * count:
        return
    at = np.flatnonzero(alone)
    seconds = count * sketch.step_s
    yield Finding(
        sketch.fault(
            Kind.SWAPPED,
            "torque",
            None,
            Sureness.CERTAIN,
            f"at standstill the torque channel rises to {float(torque[at].max()):.3g} N*m for "
            f"{seconds:.2g} s while the load channel shows nothing, as only a load can",
            Action.LEFT_OUT,
        )
    )


def wrong_sign(sketch: Sketch) -> Iterator[Finding]:
    """Find load that pulls and torque against the direction of slip."""
    if sketch.run.procedure == "zero" or not sketch.tared:
        return
    load, noise = sketch.load, CLEAR * sketch.noise["clamp_load"]
    high = np.nan_to_num(np.abs(load)) > max(0.5 * sketch.top_load, noise)
    pressed = bool(high.any()) and sketch.run.procedure != "drag"
    if pressed and float(np.nanmedian(load[high])) < 0.0:
        evidence = f"the pack is pressed with {float(np.nanmedian(load[high])):.0f} N"
        yield _sign(sketch, "clamp_load", evidence, Sureness.CERTAIN)
    acting = sketch.moving & (sketch.pressed if sketch.run.procedure != "drag" else True)
    turn = np.sign(sketch.speed[acting]) * sketch.torque[acting]
    turn = turn[np.isfinite(turn)]
    if turn.size < _FEWEST:
        return
    if sketch.run.procedure == "drag" and not _falls(sketch, acting):
        return
    mean = float(turn.mean())
    if mean < -max(sketch.noise["torque"], CLEAR * float(turn.std()) / np.sqrt(turn.size)):
        evidence = f"{mean:.3g} N*m on average against the direction of slip"
        yield _sign(sketch, "torque", evidence, Sureness.LIKELY)


def _falls(sketch: Sketch, acting: BoolArray) -> bool:
    """Whether torque in the direction of slip falls with speed, as drag the wrong way does."""
    known = acting & np.isfinite(sketch.torque) & np.isfinite(sketch.speed)
    turn = np.sign(sketch.speed[known]) * sketch.torque[known]
    speed = np.abs(sketch.speed[known])
    if turn.size < _FEWEST or np.ptp(speed) == 0.0 or np.ptp(turn) == 0.0:
        return False
    return bool(np.corrcoef(speed, turn)[0, 1] < _FALLING)


def _sign(sketch: Sketch, channel: str, evidence: str, sureness: Sureness) -> Finding:
    span = Stretch(0, sketch.time.size)
    return Finding(sketch.fault(Kind.SIGN, channel, span, sureness, evidence, Action.LEFT_OUT))


def turned_round(fault: Fault, campaign: Compared) -> Fault:
    """Return a fault of sign with the channel that the other runs show to be the wrong one."""
    one = next((run for run in campaign.traits if run.run == fault.run), None)
    if one is None or fault.channel == "clamp_load":
        return fault
    turn = sum(run.turn for run in others(campaign.traits, one))
    twist = sum(run.twist for run in others(campaign.traits, one))
    speed = turn * one.turn < 0.0 <= twist * one.twist
    torque = twist * one.twist < 0.0 <= turn * one.turn
    if not speed and not torque:
        return fault
    name = "slip_speed" if speed else "torque"
    said = "slip speed" if speed else "torque"
    evidence = f"{fault.evidence}; in other runs the {said} has the other sign"
    return replace(fault, channel=name, sureness=Sureness.CERTAIN, evidence=evidence)
