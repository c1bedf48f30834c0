"""The unloaded start and end of a run, and the zeros read there."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.calibration.signals import Signal
from rigdata.campaign.campaign import Run
from rigdata.campaign.rig import Channel
from rigdata.errors import Notice, ReductionError, Severity
from rigdata.quantities import to_base, unit_named
from rigdata.reduction.stretches import Stretch
from rigdata.uncertainty.effective_size import effective_size, u_of_mean
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source

LEAST_IDLE_S = 0.5
_MOST_FIRST_S = 2.5
_FEWEST = 12
_FAR = 10.0  # robust standard deviations that noise does not reach
_NO_SLIP = 0.05  # of the top speed: an unquiet pickup at rest reads no more
_CREEP_RAD_S = 0.005  # a pickup's offset, not slip (common practice, no source)


@dataclass(frozen=True)
class Idle:
    """The unloaded standstill at the start and the end of a run; None where absent."""

    start: Stretch | None
    end: Stretch | None


@dataclass(frozen=True, eq=False)
class Zero:
    """The reading of one channel when nothing acts on it.

    Attributes
    ----------
    time_s : (m,) float
        Mid times of the stretches it was read in; m is 1 or 2. [s]
    value : (m,) float
        Mean reading there, in the channel's unit.
    u : float
        Standard uncertainty of one of these means from noise alone.
    dof : float
        Degrees of freedom of `u`.
    shift : (k, m) float
        Change of the reading there for one standard deviation of each of the
        channel's own sources.
    """

    time_s: FloatArray
    value: FloatArray
    u: float
    dof: float
    shift: FloatArray

    @property
    def drift(self) -> float:
        """Change from start to end, in the channel's unit."""
        return float(self.value[-1] - self.value[0])

    @property
    def u_drift(self) -> float:
        """Standard uncertainty of the course between: rectangular about the straight line."""
        return abs(self.drift) / math.sqrt(12)


@dataclass(frozen=True, eq=False)
class PackZero:
    """The zeros of torque and load, and the run they were read in."""

    run: str
    torque: Zero
    load: Zero


def find_idle(
    time_s: FloatArray,
    load: FloatArray,
    speed: FloatArray,
    usable: BoolArray,
    limit: float,
) -> Idle:
    """Find where a run begins and ends unloaded at standstill.

    Parameters
    ----------
    time_s, load, speed : (n,) array
        Clamp load [N] and slip speed [rad/s] against time.
    usable : (n,) bool array
        Frames with a good reading.
    limit : float
        The largest load reading that can still be the zero of the cell. [N]

    Notes
    -----
    The first half second (or twelve frames) says what idle looks like; idle ends where load or
    speed leaves it by more than its noise.  Where that first load is over
    `limit` or the plates already slip, the run did not begin unloaded: noise within a step
    of 5 % of the top speed, or within what neighbouring readings differ by, is no slip.
    The end of the run is the same, seen backwards.
    """
    top_speed = float(np.max(np.abs(speed), initial=0.0))
    forward = _idle_length(time_s, load, speed, usable, limit, top_speed)
    back = _idle_length(
        time_s[-1] - time_s[::-1], load[::-1], speed[::-1], usable[::-1], limit, top_speed
    )
    count = time_s.size
    return Idle(
        Stretch(0, forward) if forward else None,
        Stretch(count - back, count) if back and forward < count else None,
    )


def _idle_length(
    time_s: FloatArray,
    load: FloatArray,
    speed: FloatArray,
    usable: BoolArray,
    limit: float,
    top_speed: float,
) -> int:
    first = (time_s - time_s[0] <= LEAST_IDLE_S) & usable
    if np.count_nonzero(first) < _FEWEST:  # slow log: a few more frames to see the noise by
        first = (time_s - time_s[0] <= _MOST_FIRST_S) & usable & (np.cumsum(usable) <= _FEWEST)
    if np.count_nonzero(first) < 3:
        return 0
    idle_load, load_noise = _level(load[first])
    idle_speed, speed_noise = _level(speed[first])
    # Load or slip that comes within the first frames must not pass for their noise.
    at_most = max(_NO_SLIP * top_speed, 6 * _jitter(speed[first]))
    creep = max(1e-3 * top_speed, _CREEP_RAD_S)
    slips = abs(idle_speed) > max(min(5 * speed_noise, at_most), creep)
    if abs(idle_load) > limit or slips:
        return 0
    away = (np.abs(load - idle_load) > min(max(6 * load_noise, 0.1 * limit), limit)) | (
        np.abs(speed - idle_speed) > max(min(6 * speed_noise, at_most), creep)
    )
    # Two frames in a row, so that one stray sample does not end the idle stretch.
    left = np.flatnonzero((away & usable)[:-1] & (away & usable)[1:])
    length = int(left[0]) if left.size else time_s.size
    if left.size:
        # The channel left its noise band a little after the motion began.
        guard = np.searchsorted(time_s, time_s[length] - 0.1)
        length = int(guard)
    return length if time_s[max(length - 1, 0)] - time_s[0] >= LEAST_IDLE_S else 0


def _level(values: FloatArray) -> tuple[float, float]:
    """Median and standard deviation of a few readings."""
    return float(np.median(values)), float(values.std(ddof=1))


def _jitter(values: FloatArray) -> float:
    """Standard deviation of a few readings from step to step, which one change does not widen."""
    return 1.4826 * float(np.median(np.abs(np.diff(values)))) / math.sqrt(2)


def idle_limit(load: Signal, channel: Channel | None) -> float:
    """Return the largest load reading that can still be the zero of an unloaded cell. [N]

    5 % of the run's own top load, or 1 % of what its calibration record reaches
    (common practice, no source).
    """
    top = float(np.percentile(load.values[load.good], 99.5))
    record = channel.calibration if channel is not None else None
    if record is None:
        return 0.05 * abs(top)
    unit = unit_named(record.applied_unit, "force", where=str(record.path))
    capacity = float(np.max(np.abs(to_base(record.applied, unit))))
    return max(0.05 * abs(top), 0.01 * capacity)


def read_zeros(
    run: Run,
    time_s: FloatArray,
    torque: Signal,
    load: Signal,
    usable: BoolArray,
    idle: Idle,
    pack_zero: PackZero | None,
    notices: list[Notice],
) -> PackZero:
    """Read the zeros of a run from its idle ends, or fall back on the pack's zero run.

    Raises
    ------
    ReductionError
        When there is neither.
    """
    where = f"run {run.id}"
    whole = Stretch(0, time_s.size)
    start = whole if run.procedure == "zero" else idle.start
    if start is not None:
        stretches = [start, idle.end] if start is idle.start and idle.end else [start]
        if len(stretches) == 1 and run.procedure != "zero":
            notices.append(
                Notice(
                    Severity.NOTE,
                    where,
                    "no unloaded standstill at the end, so the drift of the zero is not checked",
                    "Let the rig log a few seconds unloaded after the run.",
                )
            )
        return PackZero(
            run.id,
            read_zero(torque, time_s, usable, stretches),
            read_zero(load, time_s, usable, stretches),
        )
    if pack_zero is not None:
        return pack_zero
    raise ReductionError(
        "no zero: the run does not start unloaded at standstill, and its pack has no zero run",
        where=where,
        expected=f"a few seconds unloaded at standstill at the start, or a zero run of {run.pack}",
        do="Record a zero run for the pack, or log from before the load is applied.",
    )


def read_zero(signal: Signal, time_s: FloatArray, usable: BoolArray, idle: list[Stretch]) -> Zero:
    """Read the zero of a channel in each idle stretch.

    Raises
    ------
    ReductionError
        When no stretch holds two good readings.
    """
    picked = [np.flatnonzero(usable[s.frames]) + s.start for s in idle]
    picked = [frames[_near(signal.values[frames])] for frames in picked]
    picked = [frames for frames in picked if frames.size >= 2]
    if not picked:
        raise ReductionError(
            f"no good reading of {signal.name} where the run stands unloaded",
            expected="a few seconds of good samples at standstill",
            do="Look at the start of the log for missing or saturated samples.",
        )
    noise = []
    for frames in picked:
        residual = signal.values[frames] - signal.values[frames].mean()
        # A zero that wanders through its whole idle stretch is worth two readings at least.
        n_effective = max(effective_size(residual).n_effective, 2.0)
        u = u_of_mean(residual, n_effective)
        noise.append((u, max(n_effective - 1.0, 1.0)))
    u, dof = max(noise)
    return Zero(
        time_s=np.array([time_s[frames].mean() for frames in picked]),
        value=np.array([signal.values[frames].mean() for frames in picked]),
        u=u,
        dof=dof,
        shift=np.stack([signal.sensitivity[:, frames].mean(axis=1) for frames in picked], axis=1),
    )


def _near(values: FloatArray) -> BoolArray:
    """(n,) readings that are not far from all others, as a spike at the end of a log is.

    Nearer to the end of the log than three samples a spike cannot be told from a step, and
    is not flagged.
    """
    apart = np.abs(values - np.median(values)) if values.size else values
    spread = 1.4826 * float(np.median(apart)) if values.size else 0.0
    near: BoolArray = apart <= _FAR * spread if spread > 0.0 else np.ones(values.size, np.bool_)
    return near


def tare(signal: Signal, time_s: FloatArray, zero: Zero, run: str, zero_run: str) -> Signal:
    """Take the zero, drifting in a straight line from start to end, off a channel.

    Notes
    -----
    A source that acts through the calibration curve shifts the reading and the
    zero alike, so only its difference stays: a wrong level cancels, a wrong
    slope acts on the difference.  What the curve leaves over (the record's
    residual, a stated uncertainty) is not the same at two readings and stays.

    The zero itself brings its noise, from `zero_run`, and where it was read at
    both ends its drift, whose course between is not known: rectangular about
    the straight line, ``|drift| / sqrt(12)``.
    """
    shift = signal.sensitivity.copy()
    for row, source in enumerate(signal.sources):
        if _acts_through_curve(source):
            shift[row] -= np.interp(time_s, zero.time_s, zero.shift[row])
    kind = signal.name.replace("_", "-")
    prefix, words = ("zero", "torque") if kind == "torque" else (f"{kind}-zero", "clamp load")
    label = f"zero of the {words}"
    sources = [Source(f"{prefix}:{zero_run}", Scope.RUN, Effect.ADDITIVE, label, dof=zero.dof)]
    sizes = [zero.u]
    if zero.value.size > 1:
        drift = Source(
            f"{prefix}-drift:{run}",
            Scope.RUN,
            Effect.ADDITIVE,
            f"drift of the {words} zero",
            Distribution.RECTANGULAR,
        )
        sources.append(drift)
        sizes.append(zero.u_drift)
    own = np.repeat(np.array(sizes)[:, None], time_s.size, axis=1)
    return replace(
        signal,
        values=signal.values - np.interp(time_s, zero.time_s, zero.value),
        sources=(*signal.sources, *sources),
        sensitivity=np.concatenate([shift, own]),
    )


def _acts_through_curve(source: Source) -> bool:
    """Whether a source moves all readings of its channel along one calibration curve."""
    return source.scope is Scope.RIG and not source.id.endswith(":direct")
