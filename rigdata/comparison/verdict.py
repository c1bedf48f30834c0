"""From a ratio and its interval to a verdict in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy import optimize

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import Conditions

LEVEL = 0.05  # of every verdict, after Holm's correction
HIGHER, LOWER, EQUIVALENT, NOT_RESOLVED = "higher", "lower", "equivalent", "not resolved"

_SMALLEST = 1e-12


def two_sided_p(half_width: Callable[[float], float], distance: float) -> float:
    """Return the probability outside the interval that just reaches `distance`.

    Parameters
    ----------
    half_width : function of a level to a half width
        Half the width of the interval of that probability.
    distance : float
        Distance from the estimate to the value asked about, 0 or more.

    Returns
    -------
    float
        The two-sided p value, not below 1e-12.
    """
    if distance <= half_width(_SMALLEST):
        return 1.0
    if distance >= half_width(1.0 - _SMALLEST):
        return _SMALLEST

    def excess(log_p: float) -> float:
        return half_width(-np.expm1(log_p)) - distance

    lowest, highest = np.log(_SMALLEST), np.log1p(-_SMALLEST)
    return float(np.exp(optimize.brentq(excess, lowest, highest, xtol=1e-10)))


def equivalence_p(
    half_width: Callable[[float], float], value: float, low: float, high: float
) -> float:
    """Return the p value of the two one-sided tests of `value` lying between two bounds.

    It is below 0.05 exactly when the 90 % interval lies between them
    (D. J. Schuirmann, J. Pharmacokin. Biopharm. 15 (1987) 657).
    """
    inside = min(value - low, high - value)
    one_sided = 0.5 * two_sided_p(half_width, abs(inside))
    return one_sided if inside >= 0.0 else 1.0 - one_sided


def holm(p_values: Sequence[float]) -> FloatArray:
    """Return the p values corrected for the number of comparisons.

    S. Holm, Scand. J. Statist. 6 (1979) 65.
    """
    values = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(values, kind="stable")
    stepped = values[order] * np.arange(values.size, 0, -1)
    corrected = np.empty_like(values)
    corrected[order] = np.minimum(np.maximum.accumulate(stepped), 1.0)
    return corrected


def verdict(ratio: float, p_different: float, p_equivalent: float) -> str:
    """Return the verdict from corrected p values.

    Equivalence is asked first: a difference that is resolved but certainly
    smaller than the margin does not matter, and is told in the words.
    """
    if p_equivalent < LEVEL:
        return EQUIVALENT
    if p_different < LEVEL:
        return HIGHER if ratio > 1.0 else LOWER
    return NOT_RESOLVED


def sentence(
    name: str,
    against: str,
    outcome: str,
    interval: tuple[float, float, float],
    margin: float,
    place: Conditions,
) -> str:
    """Return the comparison in one plain sentence.

    Parameters
    ----------
    name, against : str
        What is compared with what.
    outcome : str
        One of the four verdicts.
    interval : (ratio, low, high)
        The ratio and its 95 % interval.
    margin : float
        Within which ratios count as equivalent.
    place : Conditions
        A single condition.
    """
    ratio, low, high = interval
    change, bounds = change_words(ratio, low, high)
    by = f"{change} than {against}"
    where = f"at {condition_text(place)}"
    if outcome in (HIGHER, LOWER):
        return f"{name} grips {by} (95 % interval {bounds}) {where}"
    if outcome == EQUIVALENT:
        return (
            f"{name} and {against} are equivalent within {100 * margin:g} %: "
            f"the first grips {change} (95 % interval {bounds}) {where}"
        )
    if (low < 1.0) == (high < 1.0):
        # The interval of this comparison alone leaves out 1; with the others beside it
        # one such finding is to be expected by chance.
        return (
            f"{name} seems to grip {by} (95 % interval {bounds}) {where}, "
            "but among the comparisons made together this is not certain"
        )
    return (
        f"no difference is resolved between {name} and {against}: "
        f"the first grips {change} (95 % interval {bounds}) {where}"
    )


def change_words(ratio: float, low: float, high: float) -> tuple[str, str]:
    """Return how much more or less grip a ratio is, and its interval, in words.

    >>> change_words(1.41, 1.36, 1.46), change_words(0.97, 0.9, 1.05)
    (('41 % more', '36 to 46 %'), ('3 % less', '10 % less to 5 % more'))
    """
    digits = _digits(high - low)
    if (low < 1.0) == (high < 1.0):
        ends = sorted((abs(low - 1.0), abs(high - 1.0)))
        bounds = f"{100 * ends[0]:.{digits}f} to {100 * ends[1]:.{digits}f} %"
    else:
        bounds = f"{_change(low, digits)} to {_change(high, digits)}"
    return _change(ratio, digits), bounds


def condition_text(place: Conditions) -> str:
    """Return a single condition as ``0.10 m/s, 80 degC, 1.0 MPa``."""
    speed, pressure = float(place.slip_speed_m_s[0]), float(place.pressure_mpa[0])
    return f"{_two(speed)} m/s, {float(place.temperature_c[0]):.0f} degC, {_two(pressure)} MPa"


def _two(value: float) -> str:
    """Return `value` with two significant digits, and never in powers of ten."""
    # Through the two-digit form, so that 0.99999 counts as 1.0.
    decimals = max(0, 1 - int(f"{value:.1e}".split("e")[1])) if value > 0.0 else 1
    return f"{value:.{decimals}f}"


def _change(ratio: float, digits: int) -> str:
    return f"{100 * abs(ratio - 1.0):.{digits}f} % {'more' if ratio >= 1.0 else 'less'}"


def _digits(width: float) -> int:
    """Return the decimals of a percentage worth showing for an interval of this width."""
    return 0 if width > 0.04 else 1 if width > 0.004 else 2
