"""Oil and reference junction in another unit of temperature than the rig file says."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rigdata.quantities import UNITS
from rigdata.reduction.faults.fault import Action, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import Sketch

_PLATE, _OIL, _JUNCTION = (
    "plate_temperature",
    "oil_temperature",
    "reference_junction_temperature",
)
# Plates that stand unloaded have the temperature of the oil within this; a unit taken
# for another is further off between -20 and 250 degC, but for Fahrenheit near -40.
_ALIKE_K = 15.0
_WELL = 0.25  # of the mismatch that may be left when the unit is put right


def warmth_units(sketch: Sketch) -> Iterator[Finding]:
    """Find a temperature in another unit, from plates and oil that stand together at rest.

    A reference junction carries the plate temperature along; the thermocouple turned
    round and the one without voltage are looked at too, for they would look alike.
    """
    channels = sketch.signals.channels
    if not sketch.tared or _PLATE not in channels or _OIL not in channels:
        return
    levels = {n: _first(sketch, n) for n in (_PLATE, _OIL, _JUNCTION) if n in channels}
    if not np.isfinite([levels[_PLATE], levels[_OIL]]).all():
        return
    plate, oil = levels[_PLATE], levels[_OIL]
    mismatch = abs(plate - oil)
    if mismatch <= _ALIKE_K:
        return
    # What is left if the channel was logged in a unit, or if the couple is at fault.
    left: dict[tuple[str, str], float] = {}
    for name in (_OIL, _PLATE):
        for unit, put_right in _others(sketch, name, levels[name]):
            left[name, unit] = abs(plate - put_right) if name == _OIL else abs(put_right - oil)
    junction = levels.get(_JUNCTION, np.nan)
    if np.isfinite(junction) and sketch.rig.channels[_PLATE].thermocouple is not None:
        for unit, put_right in _others(sketch, _JUNCTION, junction):
            left[_JUNCTION, unit] = abs(plate - junction + put_right - oil)
        left[_PLATE, ""] = min(abs(2.0 * junction - plate - oil), abs(plate - junction))
    (name, unit), rest = min(left.items(), key=lambda item: item[1], default=(("", ""), np.inf))
    if not unit or rest > _WELL * mismatch:
        return
    said = sketch.rig.channels[name].unit or sketch.frames.units.get(name) or ""
    yield Finding(
        sketch.fault(
            Kind.UNIT,
            name,
            None,
            Sureness.CERTAIN if rest < 0.5 * _WELL * mismatch else Sureness.LIKELY,
            f"at rest plates and oil read {plate:.0f} and {oil:.0f} degC; {unit} taken for {said} "
            f"gives that, and put right leaves {rest:.1f} K between them",
            Action.LEFT_OUT,
        )
    )


def _first(sketch: Sketch, name: str) -> float:
    first = sketch.channel(name)[sketch.first]
    return float(np.nanmedian(first)) if np.isfinite(first).any() else float("nan")


def _others(sketch: Sketch, name: str, level_c: float) -> Iterator[tuple[str, float]]:
    """Yield each other unit of a direct temperature, and its level read in that unit."""
    channel = sketch.rig.channels[name]
    if channel.column is None or channel.thermocouple or channel.resistance_thermometer:
        return
    said = UNITS.get(channel.unit or sketch.frames.units.get(name) or "")
    if said is None or said.dimension != "temperature":
        return
    logged = (level_c - said.offset) / said.factor
    for unit in UNITS.values():
        if unit.dimension == "temperature" and unit.symbol != said.symbol:
            yield unit.symbol, logged * unit.factor + unit.offset
