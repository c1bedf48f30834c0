"""One logged reading to SI: by a calibration record, a thermometer's law, or as stated."""

from __future__ import annotations

import datetime
import math

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.calibration import resistance
from rigdata.calibration.drift import Curve, curve_on
from rigdata.calibration.signals import Signal
from rigdata.calibration.thermocouple import seebeck, temperature
from rigdata.campaign.rig import Channel
from rigdata.errors import CalibrationError, CampaignError, Notice, Severity
from rigdata.quantities import QUANTITIES, Unit, spread_to_base, unit_named
from rigdata.uncertainty.sources import Effect, Scope, Source

# From memory of IEC 60584-1, tolerance class 2, as for types K, N and J:
# the larger of 2.5 K and 0.75 % of the temperature, read as rectangular.
TOLERANCE_K = 2.5
TOLERANCE_RELATIVE = 0.0075
# From memory of IEC 60751, tolerance class B, read as rectangular.
CLASS_B_K = 0.30
CLASS_B_RELATIVE = 0.005
# Common practice, no source: a reference junction that nobody calibrated is
# within 2 K, rectangular.
JUNCTION_TOLERANCE_K = 2.0

_GIVE_U = "Give u, the standard uncertainty of the temperature in kelvin, in the rig file."


def direct(
    name: str, channel: Channel, unit: Unit, reading: FloatArray, good: BoolArray, where: str
) -> Signal:
    """Return a channel that is logged in its own unit, with its stated uncertainty.

    Raises
    ------
    CampaignError
        When no uncertainty is stated, or the unit measures something else.
    """
    unit_named(unit.symbol, _dimension(name, channel), where=where)
    if channel.u is None:
        raise CampaignError(
            "the channel has no uncertainty",
            where=where,
            expected=f"u, the standard uncertainty in {unit.symbol}, or a calibration record",
        )
    source = named(name, "direct", Effect.ADDITIVE, "stated uncertainty")
    row = np.full((1, reading.size), spread_to_base(channel.u, unit))
    return Signal(name, reading, good, (source,), row)


def calibrated(
    name: str,
    channel: Channel,
    unit: Unit,
    reading: FloatArray,
    good: BoolArray,
    run: str,
    date: datetime.date | None,
) -> tuple[Signal, Notice | None]:
    """Return a channel that goes through its calibration records, and a range warning.

    With several records the curve is that of the day of the run, see
    `rigdata.calibration.drift`.

    Raises
    ------
    CalibrationError
        When a record is of another kind of indication, or cannot be fitted; when
        there are several and the run has no date.
    CampaignError
        When a record's applied unit does not measure the channel's quantity.
    """
    for record in channel.records:
        where = str(record.path)
        recorded = unit_named(record.indicated_unit, None, where=where)
        if recorded.dimension != unit.dimension:
            raise CalibrationError(
                f"the record is in {recorded.symbol}, the log in {unit.symbol}",
                where=f"{where}, channel {name}",
                expected="a record made with the same kind of indication",
                do="Log what the record indicates, or calibrate what is logged.",
            )
        unit_named(record.applied_unit, _dimension(name, channel), where=where)
    curve = curve_on(channel.records, date, kind=name.replace("_", "-"), run=run)
    signal = Signal(
        name, curve.applied(reading), good, curve.sources(run), curve.sensitivities(reading)
    )
    base = "N" if channel.lever_arm_mm is not None else QUANTITIES[name].unit
    return signal, range_notice(signal, curve, run, base)


def range_notice(signal: Signal, curve: Curve, run: str, unit: str) -> Notice | None:
    """Return a warning when good readings lie well outside the record, else None.

    Well outside is by more than 5 % of the record's span; `unit` names the unit
    of the values.
    """
    beyond = signal.good & ~curve.covers(signal.values)
    if not beyond.any():
        return None
    worst = signal.values[beyond]
    reach = worst[np.argmax(np.maximum(worst - curve.high, curve.low - worst))]
    return Notice(
        Severity.WARNING,
        f"run {run}, channel {signal.name}",
        f"{np.count_nonzero(beyond)} of {signal.values.size} frames lie outside calibration "
        f"record {curve.record} ({curve.low:.4g} to {curve.high:.4g} {unit}), as far as "
        f"{reach:.4g} {unit}",
        "Calibrate the sensor over the range in which it is used.",
    )


def thermocouple(
    name: str,
    kind: str,
    u_kelvin: float | None,
    volts: FloatArray,
    good: BoolArray,
    junction: Signal | float,
) -> tuple[Signal, tuple[Notice, ...]]:
    """Return the temperature that a thermocouple's voltage tells.

    Parameters
    ----------
    kind : str
        Type letter.
    u_kelvin : float or None
        Standard uncertainty of the temperature, which covers a constant
        junction too; None takes the tolerance of class 2 of IEC 60584-1 (from
        memory: the larger of 2.5 K and 0.75 %), and says so. [K]
    volts : (n,) array
        Voltage. [V]
    junction : Signal or float
        Temperature of the reference junction. [degC]
    """
    rows: list[FloatArray] = []
    sources: list[Source] = []
    notices: list[Notice] = []
    cold = junction.values if isinstance(junction, Signal) else np.full(volts.shape, junction)
    warm, inside = temperature(kind, 1e3 * volts, junction_c=cold)
    passed_on = seebeck(kind, cold) / seebeck(kind, warm)
    if isinstance(junction, Signal):
        sources += junction.sources
        rows += list(junction.sensitivity * passed_on)
        good = good & junction.good
    elif u_kelvin is None:
        sources.append(named(name, "junction", Effect.ADDITIVE, "reference junction"))
        rows.append(JUNCTION_TOLERANCE_K / math.sqrt(3.0) * passed_on)
    sources.append(named(name, "thermocouple", Effect.ADDITIVE, f"type {kind} thermocouple"))
    if u_kelvin is None:
        tolerance = np.maximum(TOLERANCE_K, TOLERANCE_RELATIVE * np.abs(warm))
        rows.append(tolerance / math.sqrt(3.0))
        notices.append(_default_notice(name, isinstance(junction, Signal)))
    else:
        rows.append(np.full(warm.shape, u_kelvin))
    notices += _outside_notices(
        name,
        good & ~inside,
        f"a voltage outside the range of a type {kind} thermocouple",
        "Look for an open or reversed thermocouple, or a wrong unit.",
    )
    return Signal(name, warm, good & inside, tuple(sources), np.vstack(rows)), tuple(notices)


def resistance_thermometer(
    name: str, kind: str, u_kelvin: float | None, ohms: FloatArray, good: BoolArray
) -> tuple[Signal, tuple[Notice, ...]]:
    """Return the temperature that a platinum thermometer's resistance tells.

    Parameters
    ----------
    kind : str
        ``Pt100`` or ``Pt1000``.
    u_kelvin : float or None
        Standard uncertainty of the temperature, which covers leads and meter too;
        None takes the tolerance of class B of IEC 60751 (from memory:
        0.30 K + 0.005 |t|), and says so. [K]
    ohms : (n,) array
        Resistance. [ohm]
    """
    notices: list[Notice] = []
    values, inside = resistance.temperature(kind, ohms)
    source = named(
        name, "resistance-thermometer", Effect.ADDITIVE, f"{kind} resistance thermometer"
    )
    if u_kelvin is None:
        row = (CLASS_B_K + CLASS_B_RELATIVE * np.abs(values)) / math.sqrt(3.0)
        notices.append(
            Notice(
                Severity.NOTE,
                f"channel {name}",
                f"no u given: taken as {CLASS_B_K:.2f} K + {CLASS_B_RELATIVE} |t|, rectangular "
                "(class B of IEC 60751, from memory), and nothing for leads and meter",
                _GIVE_U,
            )
        )
    else:
        row = np.full(values.shape, u_kelvin)
    notices += _outside_notices(
        name,
        good & ~inside,
        f"a resistance outside the range of a {kind}",
        "Look for an open or shorted thermometer, a wrong kind or a wrong unit.",
    )
    return Signal(name, values, good & inside, (source,), row[np.newaxis]), tuple(notices)


def _outside_notices(name: str, outside: BoolArray, what: str, do: str) -> tuple[Notice, ...]:
    """Return a warning when there are frames that no temperature belongs to."""
    count = int(np.count_nonzero(outside))
    if not count:
        return ()
    text = f"{count} frames have {what} and are not used"
    return (Notice(Severity.WARNING, f"channel {name}", text, do),)


def _default_notice(name: str, junction_logged: bool) -> Notice:
    text = (
        f"no u given: taken as {TOLERANCE_K} K or {100 * TOLERANCE_RELATIVE} %, rectangular "
        "(class 2 of IEC 60584-1, from memory)"
    )
    if not junction_logged:
        text += f", and its constant reference junction as within {JUNCTION_TOLERANCE_K} K"
    return Notice(Severity.NOTE, f"channel {name}", text, _GIVE_U)


def _dimension(name: str, channel: Channel) -> str:
    return "force" if channel.lever_arm_mm is not None else QUANTITIES[name].dimension


def named(name: str, part: str, effect: Effect, words: str) -> Source:
    """Return a source of scope `rig` that belongs to a channel."""
    label = f"{QUANTITIES[name].words}: {words}"
    return Source(f"{name.replace('_', '-')}:{part}", Scope.RIG, effect, label)
