"""Names, symbols, units and plausible ranges; the one place of unit conversion.

Inside the package a quantity is always held in the unit of its entry in
`QUANTITIES` (SI, but temperatures in degC).  Files name their units; a unit
that is not in `UNITS` is an error, never a guess.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TypeVar

from rigdata.arrays import FloatArray
from rigdata.errors import CampaignError

Number = TypeVar("Number", float, FloatArray)


@dataclass(frozen=True)
class Unit:
    """One accepted unit: ``value_in_base = value * factor + offset``."""

    symbol: str
    dimension: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True)
class Quantity:
    """One measured quantity and the range in which a bench value is plausible.

    The ranges only raise flags; they are common practice, no source.
    """

    name: str
    symbol: str
    unit: str
    dimension: str
    words: str
    low: float
    high: float

    @property
    def label(self) -> str:
        """Axis label with its unit."""
        return f"{self.words} [{self.unit}]" if self.unit != "1" else self.words


# lbf: NIST SP 811 B.8 (4.448 221 615 260 5 N exactly); the foot and the inch are exact.
_LBF = 4.4482216152605
_FOOT = 0.3048
_INCH = 0.0254
_RPM = 0.10471975511965977  # 2 pi / 60

UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("N*m", "torque", 1.0),
        Unit("kN*m", "torque", 1e3),
        Unit("lbf*ft", "torque", _LBF * _FOOT),
        Unit("N", "force", 1.0),
        Unit("kN", "force", 1e3),
        Unit("lbf", "force", _LBF),
        Unit("rpm", "angular speed", _RPM),
        Unit("rad/s", "angular speed", 1.0),
        Unit("degC", "temperature", 1.0),
        Unit("degF", "temperature", 5.0 / 9.0, -160.0 / 9.0),
        Unit("K", "temperature", 1.0, -273.15),
        Unit("mV", "voltage", 1e-3),
        Unit("V", "voltage", 1.0),
        Unit("mV/V", "voltage ratio", 1e-3),
        Unit("ohm", "resistance", 1.0),
        Unit("mm", "length", 1e-3),
        Unit("um", "length", 1e-6),
        Unit("in", "length", _INCH),
        Unit("s", "time", 1.0),
        Unit("ms", "time", 1e-3),
        Unit("MPa", "pressure", 1e6),
        Unit("bar", "pressure", 1e5),
        Unit("psi", "pressure", _LBF / _INCH**2),
        Unit("1", "number", 1.0),
    )
}

# Channels, as named in rig.toml, and the coordinates of a friction point.
QUANTITIES: dict[str, Quantity] = {
    quantity.name: quantity
    for quantity in (
        Quantity("torque", "T", "N*m", "torque", "friction torque", -3000.0, 3000.0),
        Quantity("clamp_load", "F", "N", "force", "clamp load", -500.0, 60e3),
        Quantity("slip_speed", "omega", "rad/s", "angular speed", "slip speed", -400.0, 400.0),
        Quantity(
            "plate_temperature", "T_plate", "degC", "temperature", "plate temperature", -30.0, 600.0
        ),
        Quantity(
            "oil_temperature", "T_oil", "degC", "temperature", "oil temperature", -30.0, 220.0
        ),
        Quantity(
            "reference_junction_temperature",
            "T_ref",
            "degC",
            "temperature",
            "reference junction temperature",
            -30.0,
            80.0,
        ),
        Quantity("pack_height", "h", "m", "length", "pack height", 0.0, 0.3),
        Quantity("cylinder_pressure", "p_cyl", "Pa", "pressure", "cylinder pressure", -1e5, 40e6),
        Quantity("slip_speed_m_s", "v", "m/s", "speed", "slip speed", 0.0, 20.0),
        Quantity("temperature_c", "T", "degC", "temperature", "plate temperature", -30.0, 600.0),
        Quantity("pressure_mpa", "p", "MPa", "pressure", "face pressure", 0.0, 20.0),
        Quantity("dwell_s", "t", "s", "time", "dwell before breakaway", 0.0, 1e5),
        Quantity("mu", "mu", "1", "number", "friction coefficient", 0.0, 1.0),
        Quantity("service_hours", "t", "h", "service time", "service time", 0.0, 20e3),
    )
}

CHANNELS = tuple(QUANTITIES)[:8]

_SPELLINGS = {
    "nm": "N*m",
    "n m": "N*m",
    "n.m": "N*m",
    "knm": "kN*m",
    "kn.m": "kN*m",
    "lbf.ft": "lbf*ft",
    "lbf-ft": "lbf*ft",
    "ft-lb": "lbf*ft",
    "ft*lb": "lbf*ft",
    "ft*lbf": "lbf*ft",
    "lb*ft": "lbf*ft",
    "ft-lbf": "lbf*ft",
    "lb-ft": "lbf*ft",
    "c": "degC",
    "°c": "degC",
    "deg c": "degC",
    "f": "degF",
    "°f": "degF",
    "deg f": "degF",
    "1/min": "rpm",
    "r/min": "rpm",
    "min-1": "rpm",
    "lb": "lbf",
    "sec": "s",
    "msec": "ms",
    "-": "1",
    "μm": "um",
    "ω": "ohm",
    "ohms": "ohm",
    "inch": "in",
}
_FOLDED = {symbol.casefold(): symbol for symbol in UNITS if symbol not in ("MPa", "mV")}


def canonical_unit(text: str) -> str | None:
    """Return the unit of `UNITS` that a log's units row means, or None.

    Only for text that a logger wrote, such as ``[N·m]`` or ``°C``; keys of
    rig.toml are taken literally.
    """
    plain = unicodedata.normalize("NFKC", text).strip().strip("[]()").strip()
    plain = plain.replace("·", "*").replace("⋅", "*")
    if plain in UNITS:
        return plain
    folded = plain.casefold()
    return _SPELLINGS.get(folded) or _FOLDED.get(folded)


def unit_named(symbol: str, dimension: str | None, *, where: str) -> Unit:
    """Return the unit `symbol`, checked to measure `dimension`.

    Raises
    ------
    CampaignError
        When the unit is unknown or measures something else.
    """
    unit = UNITS.get(symbol)
    fitting = [u.symbol for u in UNITS.values() if dimension is None or u.dimension == dimension]
    if unit is None or symbol not in fitting:
        fault = "is unknown" if unit is None else f"is not a {dimension}"
        raise CampaignError(
            f"unit '{symbol}' {fault}", where=where, expected="one of " + ", ".join(fitting)
        )
    return unit


def to_base(values: Number, unit: Unit) -> Number:
    """Convert `values` from `unit` to the unit used inside (SI, degC)."""
    return values * unit.factor + unit.offset


def spread_to_base(values: Number, unit: Unit) -> Number:
    """Convert a difference or an uncertainty: the factor without the offset."""
    return values * unit.factor
