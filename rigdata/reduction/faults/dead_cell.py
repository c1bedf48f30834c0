"""A cell that reads nothing any more: blank, frozen, at its rail, or noise about zero."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.logs.flags import STUCK_S, STUCK_SAMPLES, Flag
from rigdata.reduction.faults.fault import Action, Finding, Kind, Sureness
from rigdata.reduction.faults.plateaus import plateaus
from rigdata.reduction.faults.sketch import CELLS, CLEAR, Sketch, robust_sd
from rigdata.reduction.stretches import Stretch, bridge, runs_of

_LEAST_S = 0.3  # shorter is a spike or a lost sample, which the flags tell
_FEWEST = 4
_NOTHING = 0.1  # of its usual torque: plates that slip under load give more
# Dry plates give up to 0.6 (common practice, no source).
_MOST_MU = 2.0
_LONG_S = 2.0
_BESIDE = 3  # frames, but for the one at the edge
_STOP_S = 0.5  # in which a drive that trips comes down
_NEAR = 0.05  # of the way from rest to the level: the reading had come there by itself


def dead_cells(sketch: Sketch) -> Iterator[Finding]:
    """Find cells that are unplugged and cells that are saturated."""
    for name in CELLS:
        key = sketch.logged(name)
        if key is None:
            continue
        broken = _blank(sketch, key)
        held = _held(sketch, name, key)
        clipped = [part for part in held if _clipped(sketch, name, key, part)]
        if len(held) > 1 and clipped:
            # Once the limit is known, what was flagged for it is no lost cable.
            clipped += [p for p in held if p not in clipped and _at_limit(sketch, key, p)]
        broken += [part for part in held if part not in clipped]
        if not clipped and not broken:
            broken = _nothing(sketch, name)
        if clipped:
            yield _saturated(sketch, name, key, clipped)
        if broken:
            yield _unplugged(sketch, name, key, broken)


def _long(sketch: Sketch, mask: BoolArray) -> list[Stretch]:
    """Return the stretches of a mask that are too long for lost samples here and there."""
    least = max(_FEWEST, sketch.frame_at(_LEAST_S))
    parts = runs_of(bridge(mask, 2))
    return [part for part in parts if np.count_nonzero(mask[part.frames]) >= least]


def _blank(sketch: Sketch, key: str) -> list[Stretch]:
    """Where the channel is blank or not a number for long."""
    flags = sketch.frames.flags[key]
    lost = (flags & Flag.MISSING.value > 0) & ~np.isfinite(sketch.frames.values[key])
    return _long(sketch, lost)


def _held(sketch: Sketch, name: str, key: str) -> list[Stretch]:
    """Where the channel reads one value, or beyond its range, while something acts."""
    values = sketch.frames.values[key]
    beyond = (sketch.frames.flags[key] & Flag.SATURATED.value > 0) & ~np.isfinite(values)
    found = plateaus(values) + _long(sketch, beyond)
    acting = sketch.moving | (sketch.pressed if name == "torque" else _away(sketch, name))
    if not np.isfinite(values).any() or np.ptp(values[np.isfinite(values)]) == 0.0:
        return found if sketch.run.procedure != "zero" else []
    return [part for part in found if acting[part.frames].any()]


def _away(sketch: Sketch, name: str) -> BoolArray:
    """Where a cell reads clear of its first level."""
    values = sketch.torque if name == "torque" else sketch.load
    return np.nan_to_num(np.abs(values)) > CLEAR * sketch.noise[name]


def _clipped(sketch: Sketch, name: str, key: str, part: Stretch) -> bool:
    """Whether a held stretch is the limit of an amplifier that the signal had come up to.

    Such a reading is the highest or the lowest of all, is left again before the bench
    is unloaded, and was not jumped to from a level that the signal held before.
    """
    values = sketch.frames.values[key]
    known = values[np.isfinite(values)]
    if known.size == 0 or part.stop >= values.size or part.start == 0:
        return False
    before = values[max(0, part.start - 3) : part.start]
    before = before[np.isfinite(before)]
    own = values[part.frames][np.isfinite(values[part.frames])]
    if own.size == 0:
        # Beyond a stated range, or held at the extreme for so short that the reader left it out.
        limits = sketch.rig.channels[key].range or (np.nan, np.nan)
        near = before.size and np.any(np.abs(before[-1] - limits) < _NEAR * np.abs(limits))
        held = sketch.time[part.stop - 1] - sketch.time[part.start] >= STUCK_S
        held &= len(part) >= STUCK_SAMPLES
        return bool(near) or (not held and _begins(sketch, name, part))
    level, span = float(np.median(own)), float(np.ptp(known))
    extreme = level >= known.max() - 1e-6 * span or level <= known.min() + 1e-6 * span
    rest = float(np.nanmedian(values[sketch.first]))
    height = abs(level - rest)
    held = before.size > 1 and float(np.ptp(before)) < _NEAR * height
    jumped = held and abs(float(before.mean()) - level) > 2.0 * _NEAR * height
    if held and abs(float(before.mean()) - rest) < _NEAR * height:
        jumped = not _begins(sketch, name, part)
    return bool(extreme and height > 0.0 and not jumped)


def _at_limit(sketch: Sketch, key: str, part: Stretch) -> bool:
    """Whether a stretch without a reading borders on a reading at the extreme."""
    values = sketch.frames.values[key]
    known = values[np.isfinite(values)]
    edges = values[max(0, part.start - 2) : part.start], values[part.stop : part.stop + 2]
    near = 2.0 * _NEAR * float(np.ptp(known))
    return any(
        np.isfinite(edge).any()
        and min(abs(np.nanmean(edge) - known.max()), abs(np.nanmean(edge) - known.min())) < near
        for edge in edges
    )


def _begins(sketch: Sketch, name: str, part: Stretch) -> bool:
    """Whether what acts on a cell began just before a stretch."""
    # A soft drive winds up to a torque before the plates slip.
    slip = name == "torque" and sketch.run.procedure != "breakaway"
    acting = sketch.moving if slip else sketch.pressed
    known = np.isfinite(sketch.speed if slip else sketch.load)[: part.start]
    before = acting[: part.start][known][-max(_FEWEST, sketch.frame_at(_LEAST_S)) :]
    return not bool(before.all())


def _nothing(sketch: Sketch, name: str) -> list[Stretch]:
    """Where slipping, pressed plates give no torque, or torque comes without load."""
    if sketch.run.procedure == "zero" or not sketch.tared:
        return []
    if sketch.run.procedure == "drag":
        return _against_drag(sketch) if name == "torque" else []
    torque = np.abs(sketch.torque)
    if name == "torque":
        slip = sketch.moving & sketch.pressed & np.isfinite(torque)
        share = np.minimum(np.abs(sketch.load) / max(sketch.top_load, 1e-9), 1.0)
        found = _long(sketch, slip & (torque <= _NOTHING * sketch.usual_torque * share))
        found += [] if found else _long(sketch, slip)
        return [p for p in found if _reads_zero(sketch, name, p) and not _stops(sketch, p)]
    arm = sketch.geometry.faces * sketch.geometry.radius_m
    strong = sketch.moving & (torque > 0.3 * np.nanmax(np.where(sketch.moving, torque, 0.0)))
    strong &= torque > 10.0 * sketch.noise["torque"]
    without = _long(sketch, strong & (torque > _MOST_MU * arm * np.abs(sketch.load)))
    # Load that only comes later is late, not lost.
    pressed = np.flatnonzero(sketch.pressed)
    return [
        part
        for part in without
        if _reads_zero(sketch, name, part)
        and (pressed.size == 0 or pressed[0] < part.start or pressed[-1] < part.stop)
    ]


def _against_drag(sketch: Sketch) -> list[Stretch]:
    """Where no voltage at all would be a torque against the slip, as no drag is.

    A slow wave comes to that level and leaves it by and by, an open cable at once.
    """
    key = sketch.logged("torque") or "torque"
    raw = sketch.frames.values[key]
    noise = robust_sd(raw[sketch.first])
    nothing = np.abs(raw) <= CLEAR * noise
    turn = np.sign(sketch.speed) * sketch.torque
    against = np.nan_to_num(turn) < -CLEAR * sketch.noise["torque"]
    return [
        part
        for part in _long(sketch, sketch.moving & nothing & against)
        if len(part) * sketch.step_s >= _LONG_S and _jumps(raw, sketch.moving, part, noise)
    ]


def _jumps(raw: FloatArray, moving: BoolArray, part: Stretch, noise: float) -> bool:
    """Whether a reading comes or goes at once where a stretch borders on slip, if it does."""
    level = np.nanmedian(raw[part.frames])
    before = slice(max(0, part.start - 1 - _BESIDE), max(0, part.start - 1))
    after = slice(part.stop + 1, part.stop + 1 + _BESIDE)
    edges = [edge for edge in (before, after) if np.count_nonzero(moving[edge]) == _BESIDE]
    jumps = [abs(np.nanmedian(raw[edge]) - level) > 2.0 * CLEAR * noise for edge in edges]
    return any(jumps) or not jumps


def _reads_zero(sketch: Sketch, name: str, part: Stretch) -> bool:
    """Whether a cell reads what it did at rest, or no voltage at all, but for noise."""
    key = sketch.logged(name)
    raw = sketch.frames.values[key or name]
    rest, noise = raw[sketch.first], robust_sd(raw[sketch.first])
    level = float(np.nanmedian(raw[part.frames]))
    return min(abs(level), abs(level - float(np.nanmedian(rest)))) <= CLEAR * noise


def _stops(sketch: Sketch, part: Stretch) -> bool:
    """Whether the plates were stopping when the torque went."""
    reach = sketch.frame_at(_STOP_S)
    before = np.abs(sketch.speed[max(0, part.start - reach) : max(1, part.start - reach // 2)])
    after = np.abs(sketch.speed[part.start + reach : part.start + 2 * reach])
    if not np.isfinite(before).any() or not np.isfinite(after).any():
        return False
    return bool(np.nanmedian(after) < 0.6 * np.nanmedian(before))


def _saturated(sketch: Sketch, name: str, key: str, parts: list[Stretch]) -> Finding:
    values = sketch.frames.values[key]
    mask = _mask(parts, values.size)
    inside = values[mask & np.isfinite(values)]
    unit = sketch.frames.units.get(key) or sketch.rig.channels[key].unit or ""
    level = f"{float(np.median(inside)):.4g} {unit}".strip() if inside.size else "its limit"
    seconds = mask.sum() * sketch.step_s
    if inside.size:
        mask |= np.abs(values - np.median(inside)) <= 1e-9 * float(
            np.ptp(values[~np.isnan(values)])
        )
    fault = sketch.fault(
        Kind.SATURATED,
        name,
        Stretch(parts[0].start, parts[-1].stop),
        Sureness.CERTAIN,
        f"held at {level}, its extreme, for {seconds:.2g} s in all where it should go on",
        Action.FRAMES,
    )
    return Finding(fault, {key: mask})


def _unplugged(sketch: Sketch, name: str, key: str, parts: list[Stretch]) -> Finding:
    mask = sketch.near(_mask(parts, sketch.time.size), 2.0 * sketch.step_s)
    first = min(parts, key=lambda part: part.start)
    last = max(parts, key=lambda part: part.stop)
    inside = sketch.frames.values[key][first.frames]
    known = inside[np.isfinite(inside)]
    if known.size == 0:
        how = "no reading"
    elif float(np.ptp(known)) == 0.0:
        how = f"the reading stays exactly {known[0]:.4g}"
    else:
        how = "nothing but noise about zero, while the plates slip under load"
    span = Stretch(first.start, last.stop)
    begin, end = sketch.time[span.start], sketch.time[span.stop - 1]
    whole = len(span) > 0.9 * sketch.time.size
    when = "in the whole log" if whole else f"from {begin:.4g} s to {end:.4g} s"
    left = np.isfinite(sketch.frames.values[key]) & ~mask & sketch.moving
    left &= sketch.pressed | (sketch.run.procedure == "drag")
    keep = bool(left.any()) and not whole
    fault = sketch.fault(
        Kind.UNPLUGGED,
        name,
        span,
        Sureness.CERTAIN,
        f"{how} {when}",
        Action.FRAMES if keep else Action.LEFT_OUT,
    )
    return Finding(fault, {key: mask})


def _mask(parts: list[Stretch], count: int) -> BoolArray:
    mask = np.zeros(count, np.bool_)
    for part in parts:
        mask[part.frames] = True
    return mask
