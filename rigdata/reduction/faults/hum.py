"""Oscillations faster than half the logging rate, which show as slower ones."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from rigdata.arrays import FloatArray
from rigdata.reduction.faults.fault import Action, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.slip import find_slip
from rigdata.reduction.stretches import Stretch, runs_of, smoothed

_CHANCE = 1e-10  # that noise shows such a line in one run
_FEWEST = 24
_MAINS = (50.0, 60.0)
_HARMONICS = (1, 2, 3)
_WITHIN_HZ = 0.2  # the mains keep to that (common practice, no source)
_BLOCK_S = 1.5
_MOST_BLOCKS = 100  # which is enough to see a line by
_MOST_TEETH = 400
_STANDS_OUT = 6.5  # of the line over the median of all: clean runs reach 4
_LEAST = 0.01  # of the torque: less is not worth a word


def hum(sketch: Sketch) -> Iterator[Finding]:
    """Find a line in the torque of the idle bench, where nothing turns that could make it.

    The largest of the `m` ordinates of a periodogram of noise is a share `g` of their sum
    with probability ``m (1 - g)^(m - 1)`` at most (R. A. Fisher, 1929, from memory).
    """
    if not sketch.tared:
        return
    for part in _idle_parts(sketch):
        line = _line(sketch.torque[part.frames], sketch.step_s)
        if line is None:
            continue
        hz, size = line
        rate = 1.0 / sketch.step_s
        span = len(part) * sketch.step_s
        name = _mains(hz, rate, 1.0 / span)
        what = f"a line of {size:.2g} N*m at {hz:.3g} Hz stands in the torque of the idle bench"
        if name:
            what += f"; {name} looks like this at {rate:.3g} samples a second"
        sure = Sureness.LIKELY if name else Sureness.POSSIBLE
        fault = sketch.fault(Kind.ALIASING, "torque", None, sure, what, Action.KEPT)
        yield Finding(fault)
        return


def teeth(sketch: Sketch) -> Iterator[Finding]:
    """Find an oscillation that keeps step with the turning, faster than the log shows.

    The torque over its own running mean is turned back by ``exp(-2 pi i z n)``, with `n`
    the revolutions so far, in short blocks: a line of `z` a revolution then stands still
    and adds up, whatever frequency it is folded to.
    """
    if sketch.run.procedure in ("zero", "drag", "breakaway") or not sketch.tared:
        return
    blocks, top = _blocks(sketch)
    if len(blocks) < 3:
        return
    strength = np.zeros(_MOST_TEETH)
    orders = np.arange(1, _MOST_TEETH + 1)
    for turns, quick in blocks:
        turned = _powers(np.exp(-2j * np.pi * turns)) @ quick
        strength += np.abs(turned) ** 2 / quick.size
    fast = orders * top > 0.5 / sketch.step_s
    middle = float(np.median(strength))
    if middle <= 0.0 or not fast.any():
        return
    best = int(orders[fast][np.argmax(strength[fast])])
    ratio = float(strength[best - 1]) / middle
    count = sum(quick.size for _, quick in blocks)
    size = 2.0 * math.sqrt(float(strength[best - 1]) / count)
    slow = float(strength[~fast].max(initial=0.0))
    if ratio < _STANDS_OUT or size < _LEAST or slow > strength[best - 1]:
        return
    what = (
        f"a line that keeps step with the turning, at {best} a revolution or what folds to it "
        f"(up to {best * top:.3g} Hz at {1 / sketch.step_s:.3g} samples a second), stands "
        f"{ratio:.0f} times over the noise"
    )
    sure = Sureness.LIKELY if slow < 0.5 * strength[best - 1] else Sureness.POSSIBLE
    yield Finding(sketch.fault(Kind.ALIASING, "torque", None, sure, what, Action.KEPT))


def _powers(once: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return the first powers of (n,) numbers, (orders, n), each a product of two before it."""
    powers = np.empty((_MOST_TEETH, once.size), dtype=np.complex128)
    powers[0], known = once, 1
    while known < _MOST_TEETH:
        more = min(known, _MOST_TEETH - known)
        np.multiply(powers[:more], powers[known - 1], out=powers[known : known + more])
        known += more
    return powers


def _idle_parts(sketch: Sketch) -> list[Stretch]:
    """The unloaded standstill at either end."""
    idle = np.isfinite(sketch.torque) & ~sketch.moving & ~sketch.pressed
    idle |= ~np.isfinite(sketch.torque) & ~sketch.moving & ~sketch.pressed
    parts = [part for part in runs_of(idle) if len(part) >= _FEWEST]
    # Load and speed come on a little before they are seen to.
    guard = max(2, sketch.frame_at(0.2))
    ends = [parts[0], parts[-1]] if len(parts) > 1 else parts
    cut = [Stretch(p.start + (p.start > 0) * guard, p.stop - guard) for p in ends]
    return [part for part in cut if part.stop - part.start >= _FEWEST]


def _line(values: FloatArray, step_s: float) -> tuple[float, float] | None:
    """Frequency and amplitude of the one line that stands out of noise, if any."""
    known = np.isfinite(values)
    if known.sum() < max(_FEWEST, 0.8 * values.size):
        return None
    time = np.arange(values.size, dtype=float)
    filled = np.interp(time, time[known], values[known])
    filled = filled - np.polyval(np.polyfit(time, filled, 1), time)
    power = np.abs(np.fft.rfft(filled)) ** 2
    power[-1] *= 2.0 if values.size % 2 == 0 else 1.0
    share = power[2:] / max(float(power[2:].sum()), 1e-300)
    best = int(np.argmax(share))
    # A line between two ordinates falls into both.
    pair = float(share[max(0, best - 1) : best + 2].sum())
    m = share.size
    if m * (1.0 - min(pair, 1.0)) ** (m / 2.0 - 1.0) > _CHANCE:
        return None
    size = math.sqrt(2.0 * float(np.mean(filled**2)) * pair)
    return float((best + 2) / (values.size * step_s)), size


def _mains(hz: float, rate_hz: float, resolution_hz: float) -> str:
    """Name the mains line that is folded to `hz`, empty where none is."""
    for mains in _MAINS:
        for harmonic in _HARMONICS:
            true = harmonic * mains
            folded = abs(true - rate_hz * round(true / rate_hz))
            if abs(folded - hz) <= 2.0 * resolution_hz + harmonic * _WITHIN_HZ:
                times = "" if harmonic == 1 else f"{harmonic} times "
                return f"{times}the mains of {mains:.0f} Hz"
    return ""


def _blocks(sketch: Sketch) -> tuple[list[tuple[FloatArray, FloatArray]], float]:
    """Return turns and quick torque of each block of slip, and the top speed in 1/s."""
    slip = sketch.moving & sketch.pressed & np.isfinite(sketch.torque)
    swings = find_slip(sketch.step_s, np.nan_to_num(sketch.speed), sketch.pressed, sketch.rest)
    slip &= ~swings.swings
    rate = np.nan_to_num(np.abs(sketch.speed)) / (2.0 * math.pi)
    turns = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(sketch.time))))
    length = max(8, sketch.frame_at(_BLOCK_S))
    blocks, fast = [], []
    for part in runs_of(slip):
        torque = np.abs(sketch.torque[part.frames])
        quick = torque / np.maximum(smoothed(torque, 2 * (length // 4) + 1), 1e-9) - 1.0
        quick = np.diff(quick, prepend=quick[0])  # friction flutters slowly
        edge = max(2, length // 4)
        for start in range(edge, len(part) - length - edge, length):
            at = slice(start, start + length)
            piece = quick[at] - quick[at].mean()
            blocks.append((turns[part.frames][at], piece))
            fast.append(float(rate[part.frames][at].max()))
    last = max(len(blocks) - 1, 0)
    chosen = np.unique(np.linspace(0, last, min(_MOST_BLOCKS, len(blocks))).astype(int))
    return [blocks[i] for i in chosen], max(fast, default=0.0)
