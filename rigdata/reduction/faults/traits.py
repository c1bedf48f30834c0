"""What is kept of each run so that runs can be compared with each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.faults.cut_off import ends_busy
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.stretches import Stretch, runs_of, smoothed
from rigdata.reduction.zero import find_idle, idle_limit

_FEWEST = 5
_SLOW_S = 2.0
_REACH_S = 4.0


@dataclass(frozen=True)
class Cell:
    """What the idle ends of a run show of one of the two cells.

    Attributes
    ----------
    noise : float
        Standard deviation over the idle start. [N m or N]
    zero : float
        Level there. [N m or N]
    drift : float
        Change of the level to the idle end; NaN where there is none. [N m or N]
    top : float
        What the run goes up to. [N m or N]
    """

    noise: float
    zero: float
    drift: float
    top: float


@dataclass(frozen=True, eq=False)
class Traits:
    """One run in a few numbers.

    Attributes
    ----------
    sketch : Sketch
        Its lines, without frames: only what names it is used.
    torque, load : Cell
        The two cells.
    turn, twist : float
        Sign of the slip speed and of the torque on the whole.
    speed_noise, top_speed : float
        Of the pickup at rest, and what the run goes up to. [rad/s]
    still_s, still_from_s : float
        Longest standstill under load after the first slip, and when it begins; in a
        drag run without load. [s]
    lag_s, lag_height : float
        By how much the load shows later than the torque, and how alike the two are
        then, from 0 to 1; NaN where neither moves.
    """

    run: str
    pack: str
    group: tuple[str, str]
    procedure: str
    span: tuple[float, float]
    rate_hz: float
    torque: Cell
    load: Cell
    turn: float
    twist: float
    speed_noise: float
    top_speed: float
    still_s: float
    still_from_s: float
    lag_s: float
    lag_height: float
    busy_end: bool
    load_moves: bool


def traits_of(sketch: Sketch) -> Traits:
    """Return the traits of a run."""
    speed = np.nan_to_num(sketch.speed)
    start, end = _idle(sketch)
    still = _standstill(sketch)
    lag = _lag(sketch)
    slip = sketch.moving & (sketch.pressed | (sketch.run.procedure == "drag"))
    return Traits(
        run=sketch.run.id,
        pack=sketch.pack.name,
        group=(sketch.pack.material, sketch.pack.state),
        procedure=sketch.run.procedure,
        span=(float(sketch.time[0]), float(sketch.time[-1])),
        rate_hz=1.0 / sketch.step_s,
        torque=_cell(sketch, "torque", start, end),
        load=_cell(sketch, "clamp_load", start, end),
        turn=_sign(speed[slip]),
        twist=_sign(sketch.torque[slip]),
        speed_noise=_sd(speed[start]) if start is not None else math.nan,
        top_speed=float(np.percentile(np.abs(speed), 99)),
        still_s=still[0],
        still_from_s=still[1],
        lag_s=lag[0],
        lag_height=lag[1],
        busy_end=ends_busy(sketch),
        load_moves=sketch.run.procedure == "load-sweep",
    )


def middle(values: Iterable[float]) -> tuple[float, float, int]:
    """Return the median of the finite values, their robust spread, and how many they are.

    The spread is 1.4826 times the median distance from the median, which half of the
    values may leave without moving it (P. J. Huber, Robust Statistics, 1981, from memory).
    """
    known = np.array([v for v in values if math.isfinite(v)])
    if known.size == 0:
        return math.nan, math.nan, 0
    centre = float(np.median(known))
    return centre, 1.4826 * float(np.median(np.abs(known - centre))), int(known.size)


def others(runs: Sequence[Traits], one: Traits) -> list[Traits]:
    """Return all runs but one."""
    return [run for run in runs if run.run != one.run]


def _idle(sketch: Sketch) -> tuple[slice | None, slice | None]:
    """Return the idle start and end of a run."""
    signals = sketch.signals
    load, speed = signals.channels["clamp_load"], signals.channels["slip_speed"]
    usable = load.good & speed.good
    if not sketch.tared or not usable.any():
        return None, None
    limit = 2.0 * idle_limit(load, sketch.rig.channels.get("clamp_load"))
    idle = find_idle(
        sketch.time, np.nan_to_num(load.values), np.nan_to_num(speed.values), usable, limit
    )
    if sketch.run.procedure == "zero":
        return slice(0, sketch.time.size // 2), slice(sketch.time.size // 2, sketch.time.size)
    return _frames(idle.start), _frames(idle.end)


def _frames(part: Stretch | None) -> slice | None:
    return part.frames if part is not None else None


def _cell(sketch: Sketch, name: str, start: slice | None, end: slice | None) -> Cell:
    values = sketch.channel(name)
    first = _known(values[start]) if start is not None else np.empty(0)
    last = _known(values[end]) if end is not None else np.empty(0)
    zero = float(first.mean()) if first.size >= _FEWEST else math.nan
    drift = float(last.mean()) - zero if last.size >= _FEWEST else math.nan
    away = np.abs(_known(values) - (zero if math.isfinite(zero) else 0.0))
    top = float(np.percentile(away, 99)) if away.size else math.nan
    return Cell(_sd(first), zero, drift, top)


def _known(values: FloatArray) -> FloatArray:
    return values[np.isfinite(values)]


def _sd(values: FloatArray) -> float:
    known = _known(values)
    return float(known.std(ddof=1)) if known.size >= _FEWEST else math.nan


def _sign(values: FloatArray) -> float:
    known = _known(values)
    return float(np.sign(np.median(known))) if known.size else 0.0


def _standstill(sketch: Sketch) -> tuple[float, float]:
    """Return the longest standstill after the first slip, under half the load or more."""
    slips = np.flatnonzero(sketch.moving)
    if slips.size == 0:
        return math.nan, math.nan
    still = sketch.still.copy()
    still[: slips[0]] = False
    if sketch.run.procedure == "drag":
        still[slips[-1] :] = False
    else:
        still &= np.nan_to_num(np.abs(sketch.load)) > 0.5 * sketch.top_load
    parts = runs_of(still)
    if not parts:
        return 0.0, float(sketch.time[-1])
    longest = max(parts, key=len)
    return len(longest) * sketch.step_s, float(sketch.time[longest.start])


def _lag(sketch: Sketch) -> tuple[float, float]:
    """Return how much later the load shows than the torque, and how alike they then are.

    Both are taken about their mean over 2 s, while the plates slip under load.
    """
    step = sketch.step_s
    slip = sketch.moving & np.isfinite(sketch.torque) & np.isfinite(sketch.load)
    # A load that comes late is not there when the slip begins: both ends are left out.
    reach = sketch.frame_at(_REACH_S)
    width = 2 * round(_SLOW_S / step / 2) + 1
    if width < 5:
        return math.nan, math.nan
    lags = np.arange(-reach, reach + 1)
    total, squares = np.zeros(lags.size), np.zeros(2)
    for part in runs_of(slip):
        inner = slice(part.start + width, part.stop - width)
        if inner.stop - inner.start < 4 * reach:
            continue
        quick = []
        for values in (np.abs(sketch.torque[part.frames]), np.abs(sketch.load[part.frames])):
            own = values / np.maximum(smoothed(values, width), 1e-9) - 1.0
            own = own[width:-width]
            quick.append(own - own.mean())
        torque, load = quick
        total += np.array(
            [
                torque[max(-lag, 0) : torque.size - max(lag, 0)]
                @ load[max(lag, 0) : load.size - max(-lag, 0)]
                for lag in lags.tolist()
            ]
        )
        squares += [float(torque @ torque), float(load @ load)]
    if not squares.all():
        return math.nan, math.nan
    best = int(np.argmax(total))
    return float(lags[best] * step), float(total[best] / math.sqrt(squares[0] * squares[1]))
