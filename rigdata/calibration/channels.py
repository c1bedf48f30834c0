"""Frames of a log to channels in SI, each with its causes of uncertainty.

Every way in which a rig file can describe a channel ends in the same thing: a
`Signal` with its values, its sources, and how far one standard deviation of
each source moves each value.
"""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.calibration.lag import undo_delay, undo_time_constant
from rigdata.calibration.readings import (
    calibrated,
    direct,
    named,
    resistance_thermometer,
    thermocouple,
)
from rigdata.calibration.signals import Signal, Signals
from rigdata.campaign.rig import Channel, Rig
from rigdata.errors import CampaignError, LogError, Notice, Severity
from rigdata.logs.flags import Flag
from rigdata.logs.frames import Frames
from rigdata.quantities import QUANTITIES, Unit, canonical_unit, to_base, unit_named
from rigdata.uncertainty.sources import Effect, Scope, Source

# Common practice, no source: a time constant is known to a fifth.
TIME_CONSTANT_U = 0.2

_NOT_GOOD = Flag.MISSING | Flag.SATURATED | Flag.GAP


def to_signals(frames: Frames, rig: Rig, *, run: str, date: datetime.date | None = None) -> Signals:
    """Turn the frames of one log into channels in SI.

    Parameters
    ----------
    frames : Frames
        The log, in logged units, by channel name.
    rig : Rig
        What each channel means.
    run : str
        Id of the run that the log belongs to.
    date : datetime.date, optional
        Day of the run, needed where a sensor has several calibration records.

    Returns
    -------
    Signals
        One signal for each channel of the rig; `clamp_load` is made from
        `cylinder_pressure` and the piston area where it is not a channel itself.

    Raises
    ------
    CampaignError
        When a channel lacks a unit, an uncertainty or a reference junction.
    CalibrationError
        When a record cannot be used for the channel that names it.
    LogError
        When the log contradicts the unit in the rig file.

    Notes
    -----
    A delay is undone on the logged values, a time constant on the temperature.
    The `u` of a thermocouple channel is the standard uncertainty of its
    temperature in kelvin, whatever the logged unit; where the reference junction
    is a constant it covers that too.  Without it the tolerance of class 2 of
    IEC 60584-1 is taken (from memory: the larger of 2.5 K and 0.75 %), which a
    notice says.  A resistance thermometer is treated alike, with the tolerance of
    class B of IEC 60751 (from memory: 0.30 K + 0.005 |t|).  The residual of a
    calibration record (its sources ending in the run) acts anew on every
    reading, and does not cancel when a zero is taken off; all others of scope
    `rig` do.
    """
    notices: list[Notice] = list(frames.notices)
    signals: dict[str, Signal] = {}
    # Thermocouples last: their reference junction may be another channel.
    for name in sorted(rig.channels, key=lambda key: rig.channels[key].thermocouple is not None):
        signals[name] = _signal(name, rig, frames, signals, run, date, notices)
    if "clamp_load" not in signals and "cylinder_pressure" in signals:
        signals["clamp_load"] = _piston_load(signals["cylinder_pressure"], rig)
    return Signals(
        run=run,
        time_s=frames.time_s,
        frame_s=frames.frame_s,
        n_samples=frames.n_samples,
        channels={name: signals[name] for name in QUANTITIES if name in signals},
        counts=frames.counts,
        notices=tuple(notices),
        n_rows=frames.n_rows,
        sample_s=frames.sample_s,
        sha256=frames.sha256,
    )


def _signal(
    name: str,
    rig: Rig,
    frames: Frames,
    ready: dict[str, Signal],
    run: str,
    date: datetime.date | None,
    notices: list[Notice],
) -> Signal:
    channel = rig.channels[name]
    where = f"{rig.path}, channels.{name}"
    unit = _unit(name, channel, frames, where)
    if channel.constant is not None:
        count = frames.time_s.size
        level = np.full(count, to_base(channel.constant, unit))
        return direct(name, channel, unit, level, np.ones(count, np.bool_), where)
    if name not in frames.values:
        raise LogError(f"channel {name} was not read from the log", where=f"run {run}")
    usable = ((frames.flags[name] & _NOT_GOOD) == 0) & np.isfinite(frames.values[name])
    shown, good = undo_delay(frames.time_s, frames.values[name], usable, channel.lag_s)
    reading = np.asarray(to_base(shown, unit), dtype=np.float64)
    if channel.calibration is not None:
        signal, warning = calibrated(name, channel, unit, reading, good, run, date)
        notices += [warning] if warning is not None else []
    elif channel.thermocouple is not None:
        unit_named(unit.symbol, "voltage", where=where)
        cold = _junction(rig, channel.reference_junction, ready, where)
        signal, told = thermocouple(name, channel.thermocouple, channel.u, reading, good, cold)
        notices += told
    elif channel.resistance_thermometer is not None:
        unit_named(unit.symbol, "resistance", where=where)
        kind = channel.resistance_thermometer
        signal, told = resistance_thermometer(name, kind, channel.u, reading, good)
        notices += told
    else:
        signal = direct(name, channel, unit, reading, good, where)
    if channel.lever_arm_mm is not None:
        signal = _on_lever(signal, channel.lever_arm_mm, channel.lever_arm_u_mm, where)
    if channel.time_constant_s > 0.0:
        signal = _quickened(signal, frames.time_s, channel.time_constant_s, notices)
    if name in frames.spread:
        spread, _ = undo_delay(frames.time_s, frames.spread[name], usable, channel.lag_s)
        signal = _with_spread(signal, shown, spread)
    return signal


def _unit(name: str, channel: Channel, frames: Frames, where: str) -> Unit:
    """Return the unit of the logged values, checked against the log's own units row."""
    row = frames.units.get(name)
    logged = canonical_unit(row) if row else None
    symbol = channel.unit or logged
    if symbol is None:
        raise CampaignError("the channel has no unit", where=where, expected="unit = '...'")
    if logged is not None and logged != symbol:
        raise LogError(
            f"the units row of the log says {row} for {name}",
            where=where,
            expected=f"{symbol}, as in the rig file",
            do="Correct whichever is wrong.",
        )
    return unit_named(symbol, None, where=where)


def _junction(
    rig: Rig, junction: str | float | None, ready: dict[str, Signal], where: str
) -> Signal | float:
    """Return the reference junction: a constant, or a channel by its name or column."""
    if junction is None:
        raise CampaignError(
            "a thermocouple needs its reference junction",
            where=where,
            expected="reference_junction, the name of a channel or a temperature in degC",
        )
    if not isinstance(junction, str):
        return float(junction)
    names = [key for key in rig.channels if junction in (key, rig.channels[key].column)]
    for key in names:
        if key in ready and QUANTITIES[key].dimension == "temperature":
            return ready[key]
    raise CampaignError(
        f"reference junction '{junction}' is not a temperature channel of this rig",
        where=where,
        expected="a channel, such as reference_junction_temperature, that is no thermocouple",
        do="Describe that column as channel reference_junction_temperature, with its unit and u.",
    )


def _on_lever(signal: Signal, arm_mm: float, u_mm: float | None, where: str) -> Signal:
    """Return the torque that a force gives at its lever arm."""
    if u_mm is None:
        raise CampaignError(
            "the lever arm has no uncertainty", where=where, expected="lever_arm_u_mm"
        )
    source = Source("lever-arm", Scope.RIG, Effect.PROPORTIONAL, "lever arm of the torque cell")
    return _scaled(signal, 1e-3 * arm_mm, 1e-3 * u_mm, source)


def _piston_load(pressure: Signal, rig: Rig) -> Signal:
    """Return the clamp load that a cylinder's pressure gives on its piston."""
    channel = rig.channels["cylinder_pressure"]
    if channel.piston_area_mm2 is None or channel.piston_area_u_mm2 is None:
        raise CampaignError(
            "no clamp load: the cylinder pressure has no piston area",
            where=f"{rig.path}, channels.cylinder_pressure",
            expected="piston_area_mm2 and piston_area_u_mm2, or a channel clamp_load",
        )
    source = Source("piston-area", Scope.RIG, Effect.PROPORTIONAL, "piston area of the cylinder")
    area, u_area = 1e-6 * channel.piston_area_mm2, 1e-6 * channel.piston_area_u_mm2
    return replace(_scaled(pressure, area, u_area, source), name="clamp_load")


def _scaled(signal: Signal, factor: float, u_factor: float, source: Source) -> Signal:
    return Signal(
        signal.name,
        factor * signal.values,
        signal.good,
        (*signal.sources, source),
        np.vstack([factor * signal.sensitivity, u_factor * signal.values]),
    )


def _with_spread(signal: Signal, shown: FloatArray, spread: FloatArray) -> Signal:
    """Return the signal with the spread within its frames, from that of the logged values.

    The gain between the two is that of the whole run: a cell that is read within
    its frames is straight to a percent or so, which is enough for a spread.
    """
    known = signal.good & np.isfinite(shown)
    seen = float(np.std(shown[known])) if known.any() else 0.0
    gain = float(np.std(signal.values[known])) / seen if seen > 0.0 else np.nan
    return replace(signal, spread=gain * spread)


def _quickened(
    signal: Signal, time_s: FloatArray, time_constant_s: float, notices: list[Notice]
) -> Signal:
    """Return the signal with its time constant undone, and a source for doubt about it."""
    rows = np.vstack([signal.values, signal.sensitivity])
    added = undo_time_constant(time_s, rows, signal.good, time_constant_s)
    faster = rows + added
    source = named(signal.name, "time-constant", Effect.ADDITIVE, "time constant of the sensor")
    notices.append(
        Notice(
            Severity.NOTE,
            f"channel {signal.name}",
            f"time constant of {time_constant_s:g} s undone, taken as known to "
            f"{100 * TIME_CONSTANT_U:.0f} %",
        )
    )
    return Signal(
        signal.name,
        faster[0],
        signal.good & np.isfinite(faster[0]),
        (*signal.sources, source),
        np.vstack([faster[1:], TIME_CONSTANT_U * added[:1]]),
    )
