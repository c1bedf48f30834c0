"""A speed pickup that drops out to zero while the plates go on slipping."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.faults.fault import Action, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.stretches import Stretch, runs_of

_CLEAR = 5.0  # times what standstill reads, for a speed to be lost
_SHARP = 0.5  # of the speed two frames away: nothing slows down within a frame
_CHANCE = 1e-6  # that the noise at standstill reads zero for so long
_LIKE = 0.15  # by which the torque may differ, inside and out


def speed_dropouts(sketch: Sketch) -> Iterator[Finding]:
    """Find where the speed reads nothing although nothing else changes.

    The speed is gone from one frame to the next and comes back like that, or reads
    exactly zero where the noise of the pickup at standstill does not; and the torque of
    the slipping plates goes on as it was, which it does not where they really stop.
    """
    key = sketch.logged("slip_speed")
    if key is None or not sketch.tared or sketch.run.procedure == "zero":
        return
    raw = sketch.frames.values[key]
    rest = _standstill(sketch, raw)
    low = np.isfinite(raw) & (np.abs(raw) <= rest)
    zeros = _telling_zeros(sketch, raw)
    parts = []
    for part in runs_of(low):
        exact = _zeros_at_start(raw, part)
        if exact >= zeros and _lost_at_once(sketch, raw, part, rest):
            parts.append(Stretch(part.start, part.start + exact))
        elif sketch.run.procedure != "breakaway" and _comes_back(sketch, raw, part, rest):
            # On a soft drive line plates stick and slip like that.
            parts.append(part)
    if not parts:
        return
    mask = np.zeros(raw.size, np.bool_)
    for part in parts:
        mask[part.frames] = True
    lost = int(sketch.frames.n_samples[mask].sum())
    span = Stretch(parts[0].start, parts[-1].stop)
    times = "once" if len(parts) == 1 else f"{len(parts)} times"
    fault = sketch.fault(
        Kind.SPEED_DROPOUT,
        "slip_speed",
        span,
        Sureness.CERTAIN if _zeros_at_start(raw, parts[0]) >= zeros else Sureness.LIKELY,
        f"it reads nothing {times}, over {lost} samples between {sketch.time[span.start]:.4g} s "
        f"and {sketch.time[span.stop - 1]:.4g} s, while the torque goes on",
        Action.FRAMES,
    )
    yield Finding(fault, {key: sketch.near(mask, 1.01 * sketch.step_s)})


def _standstill(sketch: Sketch, raw: FloatArray) -> float:
    """What the pickup reads at standstill at most, in logged units."""
    first = np.abs(raw[sketch.first])
    first = first[np.isfinite(first)]
    return float(first.mean() + 3.0 * first.std()) if first.size else 0.0


def _telling_zeros(sketch: Sketch, raw: FloatArray) -> float:
    """How many exact zeros in a row the noise at standstill does not make by itself."""
    first = raw[sketch.first]
    share = (np.count_nonzero(first == 0.0) + 1) / (first.size + 1)
    return math.ceil(math.log(_CHANCE) / math.log(share)) if share < 1.0 else math.inf


def _zeros_at_start(raw: FloatArray, part: Stretch) -> int:
    """How many exact zeros a stretch begins with."""
    other = np.flatnonzero(raw[part.frames] != 0.0)
    return int(other[0]) if other.size else len(part)


def _lost_at_once(sketch: Sketch, raw: FloatArray, part: Stretch, rest: float) -> bool:
    """Whether the speed was gone from one frame to the next, and the torque went on."""
    before = np.abs(raw[max(0, part.start - 3) : part.start])
    before = before[np.isfinite(before)]
    if before.size == 0 or before[-1] <= _CLEAR * rest:
        return False
    return bool(before[-1] >= _SHARP * np.median(before)) and _goes_on(sketch, part)


def _comes_back(sketch: Sketch, raw: FloatArray, part: Stretch, rest: float) -> bool:
    """Whether the speed was gone at once and was back at once."""
    after = np.abs(raw[part.stop : part.stop + 3])
    after = after[np.isfinite(after)]
    if after.size == 0 or after[0] <= _CLEAR * rest:
        return False
    before = np.abs(raw[max(0, part.start - 3) : part.start])
    return (
        _held(before)
        and _held(after)
        and bool(after[0] > _SHARP * np.median(after))
        and _lost_at_once(sketch, raw, part, rest)
    )


def _held(speed: FloatArray) -> bool:
    """Whether a speed is held beside a gap; plates that stick and slip never hold theirs."""
    known = speed[np.isfinite(speed)]
    return bool(known.size and np.ptp(known) <= _LIKE * np.median(known))


def _goes_on(sketch: Sketch, part: Stretch) -> bool:
    """Whether torque over load stays what it was when the speed was lost."""
    torque, load = sketch.torque, sketch.load
    inside = slice(part.start, min(part.stop, part.start + 3))
    before = slice(max(0, part.start - 3), part.start)
    if sketch.run.procedure == "drag" or not sketch.pressed[before].any():
        first, then = np.nanmedian(torque[before]), np.nanmedian(torque[inside])
        return bool(abs(then - first) <= max(_LIKE * abs(first), 3.0 * sketch.noise["torque"]))
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = torque / load
    first, then = np.nanmedian(ratio[before]), np.nanmedian(ratio[inside])
    return bool(abs(then - first) <= _LIKE * abs(first))
