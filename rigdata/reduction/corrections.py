"""From calibrated channels to friction torque, mean face load, speed and temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen
from rigdata.calibration.signals import Signal, Signals
from rigdata.campaign.campaign import Pack, Run
from rigdata.campaign.rig import Rig
from rigdata.errors import Notice, ReductionError, Severity
from rigdata.quantities import to_base, unit_named
from rigdata.reduction.drag import Drag
from rigdata.reduction.geometry import Geometry, pack_geometry
from rigdata.reduction.load_path import RELATIVE_U, mean_face_load
from rigdata.reduction.stretches import Stretch
from rigdata.reduction.zero import Idle, Zero, find_idle, read_zero, tare, zero_sources
from rigdata.uncertainty.sources import Effect, Scope, Source

_SLOPE_S = 0.2


@dataclass(frozen=True, eq=False)
class PackZero:
    """The zeros of torque and load, and the run they were read in."""

    run: str
    torque: Zero
    load: Zero


@dataclass(frozen=True, eq=False)
class CorrectedRun:
    """One run with everything that is not friction taken off.

    Attributes
    ----------
    time_s : (n,) float
        Time of each frame. [s]
    usable : (n,) bool
        Frames in which torque, load, speed and temperature are all good.
    n_samples : (n,) int
        Logged samples in each frame.
    torque_nm : (n,) float
        Friction torque: cell less zero, drag and inertia torque. [N m]
    tared_torque_nm : (n,) float
        Cell less zero alone. [N m]
    load_n : (n,) float
        Mean load on the faces. [N]
    speed_rad_s, acceleration_rad_s2 : (n,) float
        Slip speed and its rate. [rad/s, rad/s^2]
    temperature_c, oil_temperature_c : (n,) float
        Plate and oil temperature. [degC]
    torque_sources, torque_shift : k Source, (k, n) float
        Causes of error in the torque and the change for one standard deviation. [N m]
    load_sources, load_shift : m Source, (m, n) float
        The same for the load. [N]
    idle : Idle
        Unloaded standstill at start and end.
    zeros : PackZero or None
        The zeros taken off; None where the rig logs no load to find them by.
    """

    run: Run
    pack: Pack
    geometry: Geometry
    time_s: FloatArray
    usable: BoolArray
    n_samples: IntArray
    torque_nm: FloatArray
    tared_torque_nm: FloatArray
    load_n: FloatArray
    speed_rad_s: FloatArray
    acceleration_rad_s2: FloatArray
    temperature_c: FloatArray
    oil_temperature_c: FloatArray
    torque_sources: tuple[Source, ...]
    torque_shift: FloatArray
    load_sources: tuple[Source, ...]
    load_shift: FloatArray
    idle: Idle
    zeros: PackZero | None
    notices: tuple[Notice, ...]


def correct(
    signals: Signals, run: Run, pack: Pack, rig: Rig, drag: Drag | None, pack_zero: PackZero | None
) -> CorrectedRun:
    """Take zero, drag, inertia and load-path losses off one run.

    ``T = T_cell - T_zero - T_drag(w, T_oil) - J dw/dt``

    Parameters
    ----------
    signals : Signals
        Channels of the run, SI.
    drag : Drag or None
        The pack's drag surface; None leaves drag in (for drag runs themselves).
    pack_zero : PackZero or None
        Zeros from the pack's zero run, for a run without an unloaded start.

    Raises
    ------
    ReductionError
        When the run has no zero at all.
    """
    channels = {name: _filled(signal) for name, signal in signals.channels.items()}
    torque, load = channels["torque"], channels["clamp_load"]
    speed, warmth = channels["slip_speed"].values, channels["plate_temperature"].values
    oil = channels.get("oil_temperature", channels["plate_temperature"]).values
    needed = ("torque", "clamp_load", "slip_speed", "plate_temperature")
    usable = np.logical_and.reduce([signals.channels[name].good for name in needed])
    if not usable.any():
        worst = min(needed, key=lambda name: int(signals.channels[name].good.sum()))
        raise ReductionError(
            f"channel {worst} has no good sample",
            where=f"run {run.id}",
            do="Look at the log: the sensor may be unplugged or its range too narrow.",
        )
    time = signals.time_s
    notices: list[Notice] = []

    load_logged = _is_logged(rig, "clamp_load")
    idle = (
        find_idle(time, load.values, speed, usable, idle_limit=_idle_limit(load, rig))
        if load_logged
        else Idle(None, None)
    )
    zeros = _zeros(signals, torque, load, usable, idle, run, pack_zero, load_logged, notices)
    torque_values, torque_shift = torque.values, torque.sensitivity
    load_values, load_shift = load.values, load.sensitivity
    torque_rows: list[tuple[tuple[Source, ...], FloatArray]] = []
    load_rows: list[tuple[tuple[Source, ...], FloatArray]] = []
    if zeros is not None:
        torque_values, torque_shift = tare(torque, time, zeros.torque)
        torque_rows.append(_constant_rows("torque", run, zeros.run, zeros.torque, time.size))
        load_values, load_shift = tare(load, time, zeros.load)
        load_rows.append(_constant_rows("clamp-load", run, zeros.run, zeros.load, time.size))
    torque_rows.insert(0, (torque.sources, torque_shift))
    load_rows.insert(0, (load.sources, load_shift))
    tared = torque_values

    acceleration = local_slope(time, speed, _SLOPE_S)
    torque_values = torque_values - rig.inertia_kg_m2 * acceleration
    inertia = Source("inertia", Scope.RIG, Effect.ADDITIVE, "rotating inertia")
    torque_rows.append(((inertia,), (rig.inertia_u_kg_m2 * acceleration)[None, :]))
    if drag is not None:
        torque_values = torque_values - drag.torque(speed, oil)
        torque_rows.append((drag.sources, -drag.shift(speed, oil)))
        slipping = usable & (np.abs(speed) > 0.01 * np.abs(speed).max())
        beyond = drag.beyond(speed[slipping], oil[slipping]) if slipping.any() else ""
        if beyond:
            notices.append(
                Notice(
                    Severity.WARNING,
                    f"run {run.id}",
                    f"drag is extrapolated: {beyond}",
                    "Widen the pack's drag run.",
                )
            )

    geometry = pack_geometry(pack)
    unloading = local_slope(time, load_values, _SLOPE_S) < 0
    face_load = mean_face_load(load_values, torque_values, unloading, pack, geometry.radius_m)
    if face_load is not load_values:
        loss = face_load - load_values
        spline = Source(
            f"spline-friction:{pack.name}",
            Scope.PACK,
            Effect.PROPORTIONAL,
            "clamp load lost to the splines",
        )
        load_rows.append(((spline,), (RELATIVE_U * loss)[None, :]))

    return CorrectedRun(
        run=run,
        pack=pack,
        geometry=geometry,
        time_s=time,
        usable=frozen(usable, np.bool_),
        n_samples=signals.n_samples,
        torque_nm=frozen(torque_values),
        tared_torque_nm=frozen(tared),
        load_n=frozen(face_load),
        speed_rad_s=speed,
        acceleration_rad_s2=frozen(acceleration),
        temperature_c=warmth,
        oil_temperature_c=oil,
        torque_sources=tuple(s for sources, _ in torque_rows for s in sources),
        torque_shift=frozen(np.concatenate([shift for _, shift in torque_rows])),
        load_sources=tuple(s for sources, _ in load_rows for s in sources),
        load_shift=frozen(np.concatenate([shift for _, shift in load_rows])),
        idle=idle,
        zeros=zeros,
        notices=tuple(notices),
    )


def _zeros(
    signals: Signals,
    torque: Signal,
    load: Signal,
    usable: BoolArray,
    idle: Idle,
    run: Run,
    pack_zero: PackZero | None,
    load_logged: bool,
    notices: list[Notice],
) -> PackZero | None:
    where = f"run {run.id}"
    if run.procedure == "zero":
        stretches = [Stretch(0, signals.time_s.size)]
    else:
        stretches = [s for s in (idle.start, idle.end) if s is not None]
    if stretches and (idle.start is not None or run.procedure == "zero"):
        if run.procedure != "zero" and idle.end is None:
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
            read_zero(torque, signals.time_s, usable, stretches),
            read_zero(load, signals.time_s, usable, stretches),
        )
    if pack_zero is not None:
        return pack_zero
    if not load_logged:
        notices.append(
            Notice(
                Severity.WARNING,
                where,
                "clamp load is a constant in the rig file, so no unloaded stretch can be found; "
                "torque is used as calibrated, without a zero of its own",
                "Log the clamp load, or add a zero run for this pack.",
            )
        )
        return None
    raise ReductionError(
        "no zero: the run does not start unloaded at standstill, and its pack has no zero run",
        where=where,
        expected=f"a few seconds unloaded at standstill at the start, or a zero run of {run.pack}",
        do="Record a zero run for the pack, or log from before the load is applied.",
    )


def local_slope(time_s: FloatArray, values: FloatArray, width_s: float) -> FloatArray:
    """Slope of a straight line fitted about each frame over `width_s`. [unit/s]"""
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    half = max(1, round(width_s / step / 2))
    t = time_s - time_s.mean()
    y = values - values.mean()
    total = [np.concatenate(([0.0], np.cumsum(x))) for x in (t, y, t * t, t * y)]
    index = np.arange(t.size)
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, t.size)
    n = high - low
    st, sy, stt, sty = (x[high] - x[low] for x in total)
    spread = stt - st * st / n
    slope: FloatArray = np.divide(
        sty - st * sy / n, spread, out=np.zeros_like(spread), where=spread > 0
    )
    return slope


def _constant_rows(
    quantity: str, run: Run, zero_run: str, zero: Zero, count: int
) -> tuple[tuple[Source, ...], FloatArray]:
    sources, sizes = zero_sources(quantity, run.id, zero_run, zero)
    return sources, np.repeat(sizes[:, None], count, axis=1)


def _filled(signal: Signal) -> Signal:
    """Return the signal with frames that are not good bridged by interpolation."""
    if signal.good.all() or not signal.good.any():
        return signal
    index = np.arange(signal.values.size)
    values = np.interp(index, index[signal.good], signal.values[signal.good])
    rows = [np.interp(index, index[signal.good], row[signal.good]) for row in signal.sensitivity]
    shift = np.array(rows).reshape(signal.sensitivity.shape)
    return Signal(signal.name, values, signal.good, signal.sources, shift)


def _is_logged(rig: Rig, name: str) -> bool:
    channel = rig.channels.get(name)
    return channel is None or channel.constant is None


def _idle_limit(load: Signal, rig: Rig) -> float:
    """The largest load reading that can still be the zero of an unloaded cell. [N]"""
    top = float(np.percentile(load.values[load.good], 99.5))
    channel = rig.channels.get("clamp_load")
    record = channel.calibration if channel is not None else None
    if record is None:
        return 0.05 * abs(top)
    unit = unit_named(record.applied_unit, "force", where=str(record.path))
    capacity = float(np.max(np.abs(to_base(record.applied, unit))))
    return max(0.05 * abs(top), 0.01 * capacity)
