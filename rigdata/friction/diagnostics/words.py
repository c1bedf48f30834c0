"""Findings put into words: size, interval, and whether chance alone could give them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.diagnostics.findings import Finding
from rigdata.friction.estimate import Estimate

CLEARLY = 0.997  # level of the interval that leaves zero where a finding is clear


def found(
    name: str, estimate: Estimate, unit: str, *, more: str, less: str, none: str, last: str = ""
) -> Finding:
    """Return the first quantity of `estimate`, relative to mu, as a finding.

    Parameters
    ----------
    name, unit : str
        Passed on.
    estimate : Estimate
        Whose first coefficient it is.
    more, less, none : str
        What is said of a positive and of a negative value, with ``{}`` for its size,
        and where zero lies in the interval.
    last : str
        What is said of a clear value at the end.
    """
    gradient = np.zeros((1, estimate.theta.size))
    gradient[0, 0] = 1.0
    value, half = float(estimate.theta[0]), float(estimate.half_width(gradient)[0])
    u = float(np.sqrt(estimate.variance(gradient)[0]))
    clear = abs(value) > float(estimate.half_width(gradient, level=CLEARLY)[0])
    low, high = value - half, value + half
    if low <= 0.0 <= high:
        words = f"{none} (95 % interval {between(low, high, u)})"
    else:
        size = f"{percent(abs(value), u)} %"
        ends = sorted((abs(low), abs(high)))
        words = (more if value > 0.0 else less).format(size)
        words += f" (95 % interval {percent(ends[0], u)} to {percent(ends[1], u)} %)"
        words += last if clear else ", which chance alone can give"
    return Finding(name, value, u, low, high, unit, clear, words)


def percent(share: float, u: float) -> str:
    """Return a share in percent with one digit of its standard uncertainty.

    >>> percent(0.03123, 0.0013), percent(0.2, 0.034), percent(-0.0001, 0.0013)
    ('3.1', '20', '0.0')
    """
    text = f"{100.0 * share:.{_decimals(100.0 * u)}f}"
    return text if float(text) else text.replace("-", "")


def between(low: float, high: float, u: float) -> str:
    """Return an interval that holds zero, as ``-0.2 to +0.5 %``.

    >>> between(-0.002, 0.0051, 0.0018)
    '-0.2 to +0.5 %'
    """
    return f"{percent(low, u)} to +{percent(high, u)} %"


def _decimals(u: float) -> int:
    if not u > 0.0:
        return 2
    return max(0, min(3, -math.floor(math.log10(u))))


def plain(value: float, digits: int = 3) -> str:
    """Return a number to so many digits, those before the point all kept.

    >>> plain(0.012345), plain(1.0), plain(5604.2), plain(139.2, 2)
    ('0.0123', '1', '5604', '139')
    """
    return f"{value:.0f}" if abs(value) >= 10.0**digits else f"{value:.{digits}g}"


def ranges(places: Sequence[tuple[float, float]], unit: str) -> str:
    """Return ranges in words.

    >>> ranges([(0.01, 0.2512), (1.0, 2.0)], "m/s")
    'from 0.01 to 0.25 and from 1 to 2 m/s'
    """
    return " and ".join(f"from {plain(a, 2)} to {plain(b, 2)}" for a, b in places) + f" {unit}"


def outside(x: FloatArray, low: FloatArray, high: FloatArray) -> list[tuple[float, float]]:
    """Return the ranges of rising `x` in which a band does not hold zero."""
    beyond = np.concatenate([[False], (low > 0.0) | (high < 0.0), [False]]).astype(int)
    edges = np.flatnonzero(np.diff(beyond)).reshape(-1, 2)
    return [(float(x[a]), float(x[b - 1])) for a, b in edges]
