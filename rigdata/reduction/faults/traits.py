"""What is kept of each run so that runs can be compared with each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.faults.cut_off import ends_busy
from rigdata.reduction.faults.sketch import Sketch, robust_sd
from rigdata.reduction.stretches import Stretch, bridge, runs_of, smoothed
from rigdata.reduction.zero import find_idle, idle_limit

_FEWEST = 5
_SLOW_S = 2.0
_FINE_S = 0.25
_DRIFTED = 0.25  # of the top load
_REACH_S = 3.0
LAGS_S = np.arange(-_REACH_S, _REACH_S + 0.01, 0.05)


@dataclass(frozen=True)
class Cell:
    """What the idle ends of a run show of one of the two cells.

    Attributes
    ----------
    noise : float
        Standard deviation over the idle start, robustly. [N m or N]
    wander : float
        How far the level moves within either idle end. [N m or N]
    zero : float
        Level there. [N m or N]
    drift : float
        Change of the level to the idle end; NaN where there is none. [N m or N]
    top : float
        What the run goes up to. [N m or N]
    """

    noise: float
    wander: float
    zero: float
    drift: float
    top: float


@dataclass(frozen=True, eq=False)
class Traits:
    """One run in a few numbers.

    Attributes
    ----------
    group : (material, state)
        What its pack is of.
    span : (start, end)
        Times of its log. [s]
    rate_hz : float
        Frames a second.
    torque, load : Cell
        The two cells.
    turn, twist : float
        Sign of the slip speed and of the torque on the whole.
    speed_noise, top_speed : float
        Of the pickup at rest, and what the run goes up to. [rad/s]
    still_s, still_from_s : float
        Longest standstill under load after the first slip, and when it begins; in a
        drag run without load. [s]
    lead_s, trail_s : float
        How long the load is on before the first slip, and after the last. [s]
    likeness : (k,) float
        Correlation of the ripple of the torque with that of the load shown later by each
        of `LAGS_S`; empty where no stretch of slip is long enough.
    busy_end : bool
        Whether the log ends with the bench at work.
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
    lead_s: float
    trail_s: float
    likeness: FloatArray
    busy_end: bool


def traits_of(sketch: Sketch) -> Traits:
    """Return the traits of a run."""
    speed = np.nan_to_num(sketch.speed)
    start, end = _idle(sketch)
    still = _standstill(sketch)
    about = _about_slip(sketch)
    slip = sketch.moving & (sketch.pressed | (sketch.run.procedure == "drag"))
    return Traits(
        run=sketch.run.id,
        pack=sketch.run.pack,
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
        lead_s=about[0],
        trail_s=about[1],
        likeness=_likeness(sketch),
        busy_end=ends_busy(sketch),
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
    # A zero that drifted far is still one.
    limit = 2.0 * idle_limit(load, sketch.rig.channels.get("clamp_load"))
    limit = max(limit, _DRIFTED * sketch.top_load)
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
    zero = float(np.median(first)) if first.size >= _FEWEST else math.nan
    drift = float(np.median(last)) - zero if last.size >= _FEWEST else math.nan
    away = np.abs(_known(values) - (zero if math.isfinite(zero) else 0.0))
    top = float(np.percentile(away, 99)) if away.size else math.nan
    return Cell(_sd(first), max(_wander(first), _wander(last)), zero, drift, top)


def _wander(values: FloatArray) -> float:
    """Return how far the medians of the quarters of an idle stretch lie apart."""
    if values.size < 4 * _FEWEST:
        return 0.0
    return float(np.ptp([np.median(part) for part in np.array_split(values, 4)]))


def _known(values: FloatArray) -> FloatArray:
    return values[np.isfinite(values)]


def _sd(values: FloatArray) -> float:
    known = _known(values)
    return robust_sd(known) if known.size >= _FEWEST else math.nan


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


def _about_slip(sketch: Sketch) -> tuple[float, float]:
    """Return how long the load is on before the first slip, and after the last."""
    slips = np.flatnonzero(sketch.moving)
    load = np.nan_to_num(np.abs(sketch.load))
    if slips.size == 0 or sketch.top_load <= 0.0 or not sketch.pressed.any():
        return math.nan, math.nan
    # Half of what it is soon after, for a load that is swept from there.
    reach = sketch.frame_at(_REACH_S)
    ends = []
    for values, first in ((load, slips[0]), (load[::-1], load.size - 1 - slips[-1])):
        level = float(values[first : first + reach].max())
        on = np.flatnonzero(values > 0.5 * level)
        ends.append((first - on[0]) * sketch.step_s if on.size else math.nan)
    return float(ends[0]), float(ends[1])


def _likeness(sketch: Sketch) -> FloatArray:
    """Return the correlation of the two ripples at each lag, over long stretches of slip.

    Both are taken about their mean over 2 s and over a quarter of a second, which leaves
    the ripple of a clamp and little of the noise of the cells.
    """
    step = sketch.step_s
    width, fine = (2 * round(s / step / 2) + 1 for s in (_SLOW_S, _FINE_S))
    lags = np.round(LAGS_S / step).astype(int)
    slip = sketch.moving & np.isfinite(sketch.torque) & np.isfinite(sketch.load)
    total, squares = np.zeros(lags.size), np.zeros(2)
    for part in runs_of(bridge(slip, 3)):
        if width < 5 or len(part) - 2 * width < 3 * lags[-1]:
            continue
        quick = []
        for values in (sketch.torque[part.frames], sketch.load[part.frames]):
            known = np.isfinite(values)
            index = np.arange(values.size)
            size = np.abs(np.interp(index, index[known], values[known]))
            own = smoothed(size, fine) / np.maximum(smoothed(size, width), 1e-9) - 1.0
            quick.append(own[width:-width] - own[width:-width].mean())
        torque, load = quick
        total += [
            torque[max(-lag, 0) : torque.size - max(lag, 0)]
            @ load[max(lag, 0) : load.size - max(-lag, 0)]
            for lag in lags.tolist()
        ]
        squares += [float(torque @ torque), float(load @ load)]
    if not squares.all():
        return np.empty(0)
    likeness: FloatArray = total / math.sqrt(squares[0] * squares[1])
    return likeness
