"""How one group stands against another cold and hot, from a ratio and its band."""

from __future__ import annotations

from dataclasses import dataclass

from rigdata.comparison.pairs import QUOTED
from rigdata.comparison.ratios import Ratio
from rigdata.comparison.verdict import (
    EQUIVALENT,
    HIGHER,
    LOWER,
    NOT_RESOLVED,
    change_words,
)


@dataclass(frozen=True)
class Standing:
    """A ratio at one temperature, at the slip speed and pressure quoted.

    Attributes
    ----------
    name : str
        ``cold``, ``hot``, or ``quoted`` for the condition of the verdict.
    temperature_c : float
        Plate temperature; cold and hot are the ends of where most speeds were tested on
        both. [degC]
    ratio, low, high : float
        The ratio and its 95 % band, which holds at all conditions at once.
    verdict : str
        ``higher``, ``lower``, ``equivalent`` or ``not resolved``, by the band.
    grips, bounds : str
        The ratio and its band in words.
    """

    name: str
    temperature_c: float
    ratio: float
    low: float
    high: float
    verdict: str
    grips: str
    bounds: str

    @property
    def at(self) -> str:
        """Its temperature in words, as ``cold, 58 degC``."""
        name = "" if self.name == QUOTED else f"{self.name}, "
        return f"{name}{self.temperature_c:.0f} degC"


def standings(ratio: Ratio) -> tuple[Standing, ...]:
    """Return how the two stand cold, as quoted, and hot, as far as that was tested.

    The band needs no further correction for the temperatures looked at, so the verdict
    follows from where it lies.
    """
    standing = [_standing(ratio, i, name) for i, name in enumerate(ratio.named)]
    return tuple(sorted(standing, key=lambda one: one.temperature_c))


def _standing(ratio: Ratio, i: int, name: str) -> Standing:
    temperature = float(ratio.conditions.temperature_c[i])
    value, low, high = (float(v[i]) for v in (ratio.ratio, ratio.band_low, ratio.band_high))
    grips, bounds = change_words(value, low, high)
    verdict = _verdict(low, high, ratio.margin)
    return Standing(name, temperature, value, low, high, verdict, grips, bounds)


def _verdict(low: float, high: float, margin: float) -> str:
    if 1.0 - margin < low and high < 1.0 + margin:
        return EQUIVALENT
    return HIGHER if low > 1.0 else LOWER if high < 1.0 else NOT_RESOLVED
