"""Numbers as they stand in the report: two digits of their uncertainty, no more."""

from __future__ import annotations

import math
import re

from rigdata.figures.style import typeset_unit
from rigdata.uncertainty.digits import decimals_for

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:m/s|MPa|%|\N{DEGREE SIGN}C|kJ|s|h|mm)(?!\w))")

NO_NUMBER = "\N{EN DASH}"  # stands in a table where there is nothing to give


def rounded(value: float, u: float) -> str:
    """Return `value` with two digits of its standard uncertainty `u`.

    >>> rounded(0.123456, 0.00123), rounded(1234.5, 34.0), rounded(float("nan"), 1.0)
    ('0.1235', '1234', '–')
    """
    if not math.isfinite(value):
        return NO_NUMBER
    text = f"{value:.{decimals_for(u)}f}"
    return text.replace("-", "\N{MINUS SIGN}") if float(text) else text.replace("-", "")


def with_u(value: float, u: float) -> str:
    """Return value and standard uncertainty, as ``0.1235 ± 0.0012``."""
    if not (math.isfinite(value) and math.isfinite(u)):
        return rounded(value, u)
    return f"{rounded(value, u)} \N{PLUS-MINUS SIGN} {rounded(u, u)}"


def interval(low: float, high: float, u: float | None = None) -> str:
    """Return ``low to high`` with digits to suit `u`, or a quarter of the width."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return NO_NUMBER
    scale = (high - low) / 4.0 if u is None else u
    return f"{rounded(low, scale)} to {rounded(high, scale)}"


def plain(value: float, digits: int = 3) -> str:
    """Return a number that has no uncertainty of its own, to `digits` significant digits.

    >>> plain(0.5), plain(1234.5678), plain(12.0)
    ('0.5', '1235', '12')
    """
    if not math.isfinite(value):
        return NO_NUMBER
    if value == 0.0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace("-", "\N{MINUS SIGN}")


def significant(value: float, digits: int) -> str:
    """Return a number to `digits` significant digits, noughts kept.

    >>> significant(1.02, 2), significant(0.5, 2), significant(560.1, 2)
    ('1.0', '0.50', '560')
    """
    if not math.isfinite(value):
        return NO_NUMBER
    exponent = int(f"{value:.{digits - 1}e}".split("e")[1]) if value else 0
    return f"{value:.{max(0, digits - 1 - exponent)}f}".replace("-", "\N{MINUS SIGN}")


def signed(value: float, decimals: int = 1) -> str:
    """Return a number with its sign, as ``+1.4``; what rounds to nought is positive.

    >>> signed(1.36), signed(-0.04)
    ('+1.4', '+0.0')
    """
    if not math.isfinite(value):
        return NO_NUMBER
    text = f"{value:+.{decimals}f}"
    return text.replace("-", "\N{MINUS SIGN}" if float(text) else "+")


def percent(share: float, digits: int = 2) -> str:
    """Return a share in percent, as ``1.4 %``.

    >>> percent(0.0137).split(), percent(0.62).split()
    (['1.4', '%'], ['62', '%'])
    """
    if not math.isfinite(share):
        return NO_NUMBER
    return f"{plain(100.0 * share, digits)}\N{NO-BREAK SPACE}%"


def typeset(text: str) -> str:
    """Return words of another stage as in print: unit signs, no break before a unit.

    >>> typeset("6 % of 80 degC").split("\N{NO-BREAK SPACE}")
    ['6', '% of 80', '°C']
    """
    return _NUMBER_AND_UNIT.sub("\N{NO-BREAK SPACE}", typeset_unit(text))


def condition(slip_speed_m_s: float, temperature_c: float, pressure_mpa: float) -> str:
    """Return a condition in words."""
    return typeset(
        f"{plain(slip_speed_m_s)} m/s, {plain(temperature_c)} degC and {plain(pressure_mpa)} MPa"
    )


def counted(n: int, one: str, many: str | None = None) -> str:
    """Return ``1 pack`` or ``3 packs``.

    >>> counted(1, "pack"), counted(3, "pack"), counted(2, "batch", "batches")
    ('1 pack', '3 packs', '2 batches')
    """
    return f"{n} {one if n == 1 else many or one + 's'}"


def joined(names: list[str]) -> str:
    """Return names as a list in a sentence.

    >>> joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"])
    ('a', 'a and b', 'a, b and c')
    """
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]
