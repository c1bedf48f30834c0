"""Unit conversion against the exact factors of NIST SP 811.

The factors are those of NIST Special Publication 811 (2008), appendix B, worked
out here in exact fractions from the definitions it names: the inch (0.0254 m),
the pound (0.453 592 37 kg) and standard gravity (9.806 65 m/s^2).
"""

import math
from fractions import Fraction

import numpy as np
import pytest

from rigdata.errors import CampaignError
from rigdata.quantities import (
    CHANNELS,
    QUANTITIES,
    UNITS,
    canonical_unit,
    spread_to_base,
    to_base,
    unit_named,
)

INCH = Fraction("0.0254")
FOOT = 12 * INCH
LBF = Fraction("0.45359237") * Fraction("9.80665")

EXACT = {
    "N*m": Fraction(1),
    "kN*m": Fraction(1000),
    "lbf*ft": LBF * FOOT,
    "N": Fraction(1),
    "kN": Fraction(1000),
    "lbf": LBF,
    "rad/s": Fraction(1),
    "degC": Fraction(1),
    "K": Fraction(1),
    "degF": Fraction(5, 9),
    "V": Fraction(1),
    "mV": Fraction(1, 1000),
    "mV/V": Fraction(1, 1000),
    "ohm": Fraction(1),
    "mm": Fraction(1, 1000),
    "um": Fraction(1, 10**6),
    "in": INCH,
    "s": Fraction(1),
    "ms": Fraction(1, 1000),
    "MPa": Fraction(10**6),
    "bar": Fraction(10**5),
    "psi": LBF / INCH**2,
    "1": Fraction(1),
}


@pytest.mark.parametrize("symbol", sorted(EXACT))
def test_factors_are_the_exact_ones(symbol):
    assert UNITS[symbol].factor == pytest.approx(float(EXACT[symbol]), rel=1e-15, abs=0)


# The rounded factors as SP 811 appendix B.8 prints them, digit by digit.
@pytest.mark.parametrize(
    ("symbol", "printed", "relative"),
    [
        ("lbf*ft", 1.355818, 5e-7),
        ("lbf", 4.448222, 2e-7),
        ("psi", 6.894757e3, 2e-7),
        ("rpm", 1.047198e-1, 5e-7),
        ("in", 2.54e-2, 1e-15),
        ("bar", 1.0e5, 1e-15),
    ],
)
def test_factors_agree_with_the_printed_table(symbol, printed, relative):
    assert UNITS[symbol].factor == pytest.approx(printed, rel=relative, abs=0)


def test_revolutions_per_minute():
    assert to_base(60.0, UNITS["rpm"]) == pytest.approx(2 * math.pi, rel=1e-15)


def test_every_unit_of_the_file_format_is_known_and_checked_here():
    assert set(UNITS) == set(EXACT) | {"rpm"}


@pytest.mark.parametrize(
    ("symbol", "value", "celsius"),
    [
        ("degF", 32.0, 0.0),
        ("degF", 212.0, 100.0),
        ("degF", -40.0, -40.0),
        ("K", 273.15, 0.0),
        ("K", 373.15, 100.0),
        ("degC", 25.0, 25.0),
    ],
)
def test_temperatures_carry_their_offset(symbol, value, celsius):
    assert to_base(value, UNITS[symbol]) == pytest.approx(celsius, abs=1e-12)
    assert to_base(np.array([value]), UNITS[symbol])[0] == pytest.approx(celsius, abs=1e-12)


@pytest.mark.parametrize("symbol", ["degC", "degF", "K"])
def test_an_uncertainty_has_no_offset(symbol):
    u = spread_to_base(1.8, UNITS[symbol])
    assert u == pytest.approx(1.0 if symbol == "degF" else 1.8, rel=1e-15)


@pytest.mark.parametrize("value", [-40.0, 0.0, 1e4])
@pytest.mark.parametrize("spread", [-10.0, 0.5, 1e3])
@pytest.mark.parametrize("symbol", sorted(UNITS))
def test_a_spread_is_the_difference_of_two_values(symbol, value, spread):
    unit = UNITS[symbol]
    difference = to_base(value + spread, unit) - to_base(value, unit)
    size = max(abs(value), abs(spread)) * unit.factor + abs(unit.offset)
    assert difference == pytest.approx(spread_to_base(spread, unit), abs=size * 1e-14)


@pytest.mark.parametrize(
    ("text", "symbol"),
    [
        ("N*m", "N*m"),
        ("Nm", "N*m"),
        ("[N·m]", "N*m"),
        ("N⋅m", "N*m"),
        ("N m", "N*m"),
        ("(N.m)", "N*m"),
        ("kNm", "kN*m"),
        ("ft-lb", "lbf*ft"),
        ("lbf·ft", "lbf*ft"),
        ("kn", "kN"),
        (" kN ", "kN"),
        ("lb", "lbf"),
        ("°C", "degC"),
        ("[\N{DEGREE CELSIUS}]", "degC"),
        ("degc", "degC"),
        ("C", "degC"),
        ("°F", "degF"),
        ("RPM", "rpm"),
        ("1/min", "rpm"),
        ("rad/s", "rad/s"),
        ("mV/V", "mV/V"),
        ("\N{MICRO SIGN}m", "um"),
        ("\N{GREEK SMALL LETTER MU}m", "um"),
        ("sec", "s"),
        ("\N{OHM SIGN}", "ohm"),
        ("[\N{GREEK CAPITAL LETTER OMEGA}]", "ohm"),
        ("Ohm", "ohm"),
        ("Ohms", "ohm"),
        ("-", "1"),
        ("PSI", "psi"),
        ("MPa", "MPa"),
    ],
)
def test_spellings_that_loggers_write(text, symbol):
    assert canonical_unit(text) == symbol


# Letter case tells milli from mega; the wrong one must not be taken for the other.
@pytest.mark.parametrize("text", ["mPa", "MV", "Pa", "", "[]", "kOhm", "furlong", "kgf", "%"])
def test_other_text_is_no_unit(text):
    assert canonical_unit(text) is None


def test_every_spelling_leads_to_itself():
    assert {symbol: canonical_unit(symbol) for symbol in UNITS} == {s: s for s in UNITS}


def test_an_unknown_unit_names_the_place_and_the_choice():
    with pytest.raises(CampaignError) as caught:
        unit_named("Nm", "torque", where="rig.toml, channels.torque.unit")
    text = str(caught.value)
    assert "rig.toml, channels.torque.unit" in text
    assert "'Nm' is unknown" in text
    assert "N*m, kN*m, lbf*ft" in text
    assert "bar" not in text


def test_a_unit_of_another_dimension_is_refused():
    with pytest.raises(CampaignError, match="'bar' is not a torque"):
        unit_named("bar", "torque", where="rig.toml")
    assert unit_named("bar", None, where="rig.toml").dimension == "pressure"


def test_channels_and_their_quantities():
    assert CHANNELS == (
        "torque",
        "clamp_load",
        "slip_speed",
        "plate_temperature",
        "oil_temperature",
        "reference_junction_temperature",
        "pack_height",
        "cylinder_pressure",
    )
    dimensions = {unit.dimension for unit in UNITS.values()}
    for name in CHANNELS:
        assert QUANTITIES[name].dimension in dimensions
        assert QUANTITIES[name].low < QUANTITIES[name].high


def test_labels_show_the_unit_unless_there_is_none():
    assert QUANTITIES["torque"].label == "friction torque [N*m]"
    assert QUANTITIES["mu"].label == "friction coefficient"
