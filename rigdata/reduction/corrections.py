"""From calibrated channels to friction torque, mean face load, speed and temperature."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen
from rigdata.calibration.signals import Signal, Signals
from rigdata.campaign.campaign import Pack, Run
from rigdata.campaign.rig import Rig
from rigdata.errors import Notice, ReductionError, Severity
from rigdata.reduction.conduction import at_the_face
from rigdata.reduction.drag import Drag
from rigdata.reduction.geometry import Geometry, pack_geometry
from rigdata.reduction.load_path import RELATIVE_U, mean_face_load
from rigdata.reduction.low_pass import corner_of, low_passed
from rigdata.reduction.slip import Slip, find_slip
from rigdata.reduction.stretches import median_step
from rigdata.reduction.zero import Idle, PackZero, find_idle, idle_limit, read_zeros, tare
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source

_NEEDED = ("torque", "clamp_load", "slip_speed", "plate_temperature")
SLOPE_S = 0.2
# The delay between load and torque is found after all runs are read; until then it stands
# in each run as a source of this size.
DELAY_UNIT_S = 1e-3
DELAY = Source("alignment", Scope.RIG, Effect.ADDITIVE, "delay between load and torque")


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
    torque : Signal
        Friction torque, with every source that acts on it. [N m]
    tared_torque : (n,) float
        Torque less its zero alone. [N m]
    load : Signal
        Mean load on the faces, with every source that acts on it. [N]
    speed : Signal
        Slip speed. [rad/s]
    temperature : Signal
        Plate temperature. [degC]
    oil_temperature : (n,) float
        Oil temperature. [degC]
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
    torque: Signal
    tared_torque: FloatArray
    load: Signal
    speed: Signal
    temperature: Signal
    oil_temperature: FloatArray
    idle: Idle
    zeros: PackZero | None
    notices: tuple[Notice, ...]

    @cached_property
    def step_s(self) -> float:
        """Median time between frames. [s]"""
        return median_step(self.time_s)

    @cached_property
    def rest_speed(self) -> float:
        """Slip speed that the noise of the idle reading reaches: mean and three sigma. [rad/s]

        Almost nothing where no idle stretch shows the noise.
        """
        idle = self.idle.start
        if idle is None:
            return 1e-9
        reading = np.abs(self.speed.values[idle.frames])
        return max(float(reading.mean() + 3 * reading.std()), 1e-9)

    @cached_property
    def pressed(self) -> BoolArray:
        """(n,) where the pack is under more than 4 % of the run's top load."""
        load = self.load.values
        under: BoolArray = load > 0.04 * float(np.percentile(load, 99.5))
        return under

    @cached_property
    def slip(self) -> Slip:
        """How the plates slip under load."""
        return find_slip(self.step_s, self.speed.values, self.pressed, self.rest_speed)


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
        When a channel has no good sample, or the run has no zero at all.
    """
    usable = _usable(signals, run)
    time = signals.time_s
    notices: list[Notice] = []
    channels = {
        name: _filtered(_bridged(signal), name, time, run, rig, notices)
        for name, signal in signals.channels.items()
    }
    torque, load = channels["torque"], channels["clamp_load"]
    speed = channels["slip_speed"].values
    oil = _oil_temperature(channels, run, drag, notices)

    idle, zeros = Idle(None, None), pack_zero
    if _logs_load(rig):
        limit = idle_limit(load, rig.channels.get("clamp_load"))
        idle = find_idle(time, load.values, speed, usable, limit)
        zeros = read_zeros(run, time, torque, load, usable, idle, pack_zero, notices)
    elif zeros is None:
        notices.append(_no_zero_to_find(run))
    if zeros is not None:
        torque = tare(torque, time, zeros.torque, run.id, zeros.run)
        load = tare(load, time, zeros.load, run.id, zeros.run) if _logs_load(rig) else load
    if _logs_load(rig):
        load = _with_delay(load, time)
    tared = torque.values

    torque = _less_inertia(torque, local_slope(time, speed, SLOPE_S), rig)
    if drag is not None:
        torque = less(torque, drag.torque(speed, oil), drag.sources, -drag.shift(speed, oil))
        notices += _extrapolated_drag(run, drag, speed[usable], oil[usable])
    geometry = pack_geometry(pack)
    return CorrectedRun(
        run=run,
        pack=pack,
        geometry=geometry,
        time_s=time,
        usable=frozen(usable, np.bool_),
        n_samples=signals.n_samples,
        torque=torque,
        tared_torque=tared,
        load=_on_the_faces(load, torque, time, pack, geometry),
        speed=channels["slip_speed"],
        temperature=at_the_face(channels["plate_temperature"], torque, speed, time, pack, geometry),
        oil_temperature=oil,
        idle=idle,
        zeros=zeros,
        notices=tuple(notices),
    )


def less(
    signal: Signal, values: FloatArray, sources: tuple[Source, ...], shift: FloatArray
) -> Signal:
    """Return `signal` less `values`, with the sources that come in by them.

    Parameters
    ----------
    values : (n,) array
        What is taken off.
    sources, shift : k Source, (k, n) array
        Causes of uncertainty in `values` and the change of the difference for
        one standard deviation of each.
    """
    return replace(
        signal,
        values=signal.values - values,
        sources=(*signal.sources, *sources),
        sensitivity=np.concatenate([signal.sensitivity, shift]),
    )


def local_slope(time_s: FloatArray, values: FloatArray, width_s: float) -> FloatArray:
    """Slope of a straight line fitted about each frame over `width_s`. [unit/s]"""
    step = median_step(time_s)
    half = max(1, round(width_s / step / 2))
    t, y = time_s - time_s.mean(), values - values.mean()
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


def _usable(signals: Signals, run: Run) -> BoolArray:
    good = {name: signals.channels[name].good for name in _NEEDED}
    usable: BoolArray = np.logical_and.reduce(list(good.values()))
    if not usable.any():
        worst = min(_NEEDED, key=lambda name: int(good[name].sum()))
        raise ReductionError(
            f"channel {worst} has no good sample",
            where=f"run {run.id}",
            do="Look at the log: the sensor may be unplugged or its range too narrow.",
        )
    return usable


def _bridged(signal: Signal) -> Signal:
    """Return the signal with frames that are not good bridged by interpolation."""
    if signal.good.all() or not signal.good.any():
        return signal
    index = np.arange(signal.values.size)
    known = index[signal.good]
    rows = [np.interp(index, known, row[signal.good]) for row in signal.sensitivity]
    return replace(
        signal,
        values=np.interp(index, known, signal.values[signal.good]),
        sensitivity=np.reshape(rows, signal.sensitivity.shape),
    )


def _filtered(
    signal: Signal, name: str, time_s: FloatArray, run: Run, rig: Rig, notices: list[Notice]
) -> Signal:
    """Return the signal through the filter that its channel asks for."""
    corner = corner_of(name, rig)
    if corner == 0.0 or run.procedure == "breakaway" or time_s.size < 2:
        return signal
    highest = 0.5 / median_step(time_s)
    if corner >= highest:
        text = f"{name}: swings above {highest:.3g} Hz do not show in this log"
        do = f"A corner of {corner:.3g} Hz changes nothing here; log faster or take a lower one."
        notices.append(Notice(Severity.NOTE, f"run {run.id}", text, do))
        return signal
    return low_passed(signal, time_s, corner)


def _oil_temperature(
    channels: dict[str, Signal], run: Run, drag: Drag | None, notices: list[Notice]
) -> FloatArray:
    oil = channels.get("oil_temperature")
    if oil is not None and oil.good.any():
        return oil.values
    if drag is not None:
        text = "no oil temperature; the plate temperature stands in for it where drag is taken off"
        notices.append(Notice(Severity.NOTE, f"run {run.id}", text))
    return channels["plate_temperature"].values


def _logs_load(rig: Rig) -> bool:
    channel = rig.channels.get("clamp_load")
    return channel is None or channel.constant is None


def _no_zero_to_find(run: Run) -> Notice:
    return Notice(
        Severity.WARNING,
        f"run {run.id}",
        "clamp load is a constant in the rig file, so no unloaded stretch can be found; "
        "torque is used as calibrated, without a zero of its own",
        "Log the clamp load, or add a zero run for this pack.",
    )


def _with_delay(load: Signal, time_s: FloatArray) -> Signal:
    """Return the load with the delay of its channel as a source."""
    late = -DELAY_UNIT_S * local_slope(time_s, load.values, SLOPE_S)
    return less(load, np.zeros_like(load.values), (DELAY,), late[None, :])


def _less_inertia(torque: Signal, acceleration: FloatArray, rig: Rig) -> Signal:
    source = Source("inertia", Scope.RIG, Effect.ADDITIVE, "rotating inertia")
    shift = -rig.inertia_u_kg_m2 * acceleration
    return less(torque, rig.inertia_kg_m2 * acceleration, (source,), shift[None, :])


def _extrapolated_drag(run: Run, drag: Drag, speed: FloatArray, oil: FloatArray) -> list[Notice]:
    beyond = drag.beyond(speed, oil)
    if not beyond:
        return []
    return [
        Notice(
            Severity.WARNING,
            f"run {run.id}",
            f"drag is extrapolated: {beyond}",
            "Widen the pack's drag run.",
        )
    ]


def _on_the_faces(
    load: Signal, torque: Signal, time_s: FloatArray, pack: Pack, geometry: Geometry
) -> Signal:
    """Return the mean load on the faces: the clamp load less what the splines take."""
    if pack.spline_friction is None or pack.spline_radius_mm is None:
        return load
    unloading = local_slope(time_s, load.values, SLOPE_S) < 0
    on_faces = mean_face_load(load.values, torque.values, unloading, pack, geometry.radius_m)
    loss = load.values - on_faces
    source = Source(
        f"spline-friction:{pack.name}",
        Scope.PACK,
        Effect.PROPORTIONAL,
        "load lost to the splines",
        Distribution.RECTANGULAR,
    )
    return less(load, loss, (source,), -RELATIVE_U * loss[None, :])
