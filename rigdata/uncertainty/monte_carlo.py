"""Propagation of distributions by Monte Carlo, and the test of the linear budget against it.

Evaluation of measurement data, Supplement 1 to the GUM (JCGM 101:2008): draw every
cause from its distribution, push each set of draws through the measurement
equation itself, and read mean, standard uncertainty and interval off the
values.  What first-order propagation leaves out (curvature, shapes that are
not normal) is then in the result.

Clauses are cited from memory of the document; `tests/reference` holds the
functions against its examples, whose exact values were worked out anew.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.uncertainty.sources import Distribution

LEVEL = 0.95
DRAWS = 200_000
SEED = 101
# The reports of this package print two digits of an uncertainty, so an interval
# must hold to the second digit too.
DIGITS = 2
_SURE = 2.0  # standard errors of the draws that a verdict must stand clear of the tolerance


def standard_draws(
    name: str, distribution: Distribution, draws: int, seed: int = SEED
) -> FloatArray:
    """Return errors of one cause in its own standard deviations.

    Parameters
    ----------
    name : str
        Whose error it is.  One name and seed give the same errors wherever they
        are drawn, so that all who share a cause share its error, and the result
        for one point does not depend on which others are drawn with it.
    distribution : Distribution
        Normal, or rectangular from ``-sqrt(3)`` to ``sqrt(3)``.
    draws : int
        How many.
    seed : int
        Another seed gives other draws.

    Returns
    -------
    (draws,) array
        Mean 0 and standard deviation 1, but for the luck of the draw.
    """
    digest = np.frombuffer(hashlib.sha256(name.encode()).digest(), dtype=np.uint32)
    generator = np.random.default_rng([seed, *digest.tolist()])
    if distribution is Distribution.RECTANGULAR:
        return generator.uniform(-math.sqrt(3.0), math.sqrt(3.0), draws)
    return generator.standard_normal(draws)


@dataclass(frozen=True, eq=False)
class Drawn:
    """What m draws of each of n quantities say of them.

    Attributes
    ----------
    draws : int
        m.
    mean, u : (n,) float
        Mean and standard deviation of the draws.
    low, high : (n,) float
        Probabilistically symmetric 95 % interval.
    u_low, u_high : (n,) float
        Standard errors of its ends, from the luck of the draw.
    """

    draws: int
    mean: FloatArray
    u: FloatArray
    low: FloatArray
    high: FloatArray
    u_low: FloatArray
    u_high: FloatArray

    def __post_init__(self) -> None:
        for name in ("mean", "u", "low", "high", "u_low", "u_high"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


def summarise(values: ArrayLike) -> Drawn:
    """Return mean, standard uncertainty and symmetric 95 % interval of draws.

    Parameters
    ----------
    values : (n, m) or (m,) array
        Draws of each quantity, m of 100 or more.

    Notes
    -----
    The interval leaves out as many draws below as above (JCGM 101:2008, 7.7).
    The number of draws below a quantile is binomial, so the standard error of an
    end is half the way between the order statistics ``sqrt(m p (1 - p))`` places
    to either side of it; this holds whatever the distribution.
    """
    drawn = np.atleast_2d(np.asarray(values, dtype=np.float64))
    count = drawn.shape[-1]
    first, last = _symmetric_places(count)
    aside = max(1, round(math.sqrt(count * 0.25 * (1.0 - LEVEL**2))))
    # With p = (1 - LEVEL) / 2 on either side, p (1 - p) = (1 - LEVEL^2) / 4.
    places = [max(first - aside, 0), first, first + aside]
    places += [last - aside, last, min(last + aside, count - 1)]
    ordered = np.partition(drawn, places, axis=-1)[..., places]
    return Drawn(
        draws=count,
        mean=drawn.mean(axis=-1),
        u=drawn.std(axis=-1, ddof=1),
        low=ordered[..., 1],
        high=ordered[..., 4],
        u_low=(ordered[..., 2] - ordered[..., 0]) / 2.0,
        u_high=(ordered[..., 5] - ordered[..., 3]) / 2.0,
    )


def shortest_interval(values: ArrayLike, level: float = LEVEL) -> tuple[FloatArray, FloatArray]:
    """Return the shortest interval that holds a share `level` of the draws.

    Parameters
    ----------
    values : (n, m) or (m,) array
        Draws of each quantity.
    level : float
        Probability that the interval holds.

    Returns
    -------
    low, high : (n,) array
        Its ends.  They are noisier than those of the symmetric interval, because
        near the shortest many intervals are nearly as short (JCGM 101:2008, 5.3.4
        and 7.7).
    """
    ordered = np.sort(np.atleast_2d(np.asarray(values, dtype=np.float64)), axis=-1)
    inside = _inside(ordered.shape[-1], level)
    lengths = ordered[..., inside:] - ordered[..., :-inside]
    start = np.argmin(lengths, axis=-1)[..., None]
    low = np.take_along_axis(ordered, start, axis=-1)[..., 0]
    return low, low + np.min(lengths, axis=-1)


def _inside(count: int, level: float) -> int:
    """Steps from the lower to the upper end of an interval, ``level * count`` to the nearest."""
    return min(math.floor(level * count + 0.5), count - 1)


def _symmetric_places(count: int) -> tuple[int, int]:
    """Places, from 0, of the ends of the symmetric interval among ordered draws."""
    inside = _inside(count, LEVEL)
    first = (count - inside + 1) // 2 - 1
    return max(first, 0), min(first + inside, count - 1)


def numerical_tolerance(u: ArrayLike, digits: int = DIGITS) -> FloatArray:
    """Return half a unit in the last digit that a standard uncertainty is stated with.

    Parameters
    ----------
    u : (n,) array
        Standard uncertainty, above 0.
    digits : int
        Digits that count as meaningful.

    Returns
    -------
    (n,) array
        ``delta = 10^l / 2`` where ``u = c 10^l`` with c a whole number of `digits`
        digits (JCGM 101:2008, 7.9.2).

    Examples
    --------
    >>> numerical_tolerance([0.0755, 0.0996], 1).tolist()
    [0.005, 0.05]
    >>> numerical_tolerance(0.0755, 2).tolist()
    0.0005
    """
    size = np.asarray(u, dtype=np.float64)
    last = np.floor(np.log10(size)) - (digits - 1)
    # Rounding may carry: 0.0996 is 0.10 to two digits.
    last += np.round(size / 10.0**last) >= 10.0**digits
    tolerance: FloatArray = 0.5 * 10.0**last
    return tolerance


@dataclass(frozen=True, eq=False)
class LinearTest:
    """The linear budget of n quantities against their draws.

    Attributes
    ----------
    low, high : (n,) float
        95 % interval of the linear budget.
    drawn : Drawn
        What the draws say.
    tolerance : (n,) float
        By how much the ends may differ.
    """

    low: FloatArray
    high: FloatArray
    drawn: Drawn
    tolerance: FloatArray

    def __post_init__(self) -> None:
        for name in ("low", "high", "tolerance"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def d_low(self) -> FloatArray:
        """(n,) distance of the lower ends."""
        return np.abs(self.low - self.drawn.low)

    @property
    def d_high(self) -> FloatArray:
        """(n,) distance of the upper ends."""
        return np.abs(self.high - self.drawn.high)

    @property
    def passed(self) -> BoolArray:
        """(n,) whether both ends agree within the tolerance: the linear interval will do."""
        return np.maximum(self.d_low, self.d_high) <= self.tolerance

    @property
    def settled(self) -> BoolArray:
        """(n,) whether more draws would hardly change `passed`.

        Either one end is clearly out, or both are clearly in: clear of the
        tolerance by two standard errors of the draws.
        """
        over_low = self.d_low - self.tolerance
        over_high = self.d_high - self.tolerance
        doubt_low, doubt_high = _SURE * self.drawn.u_low, _SURE * self.drawn.u_high
        out = (over_low > doubt_low) | (over_high > doubt_high)
        return out | ((over_low <= -doubt_low) & (over_high <= -doubt_high))


def linear_test(
    value: ArrayLike,
    u: ArrayLike,
    drawn: Drawn,
    *,
    digits: int = DIGITS,
    in_logarithm: bool = False,
) -> LinearTest:
    """Test whether the interval of the linear budget is good enough.

    Parameters
    ----------
    value, u : (n,) array
        Value and standard uncertainty by first-order propagation.
    drawn : Drawn
        The same n quantities by Monte Carlo.
    digits : int
        Digits of `u` to which the intervals must agree.
    in_logarithm : bool
        Whether the linear interval is symmetric in the logarithm, as that of a
        ratio: ``y exp(-+ k u / y)``.

    Notes
    -----
    ``|y - k u - y_low| <= delta`` and the same above (JCGM 101:2008, 8.1), with
    k = 1.96: every cause is drawn with a known standard deviation, so both sides
    take it as known.
    """
    size = np.atleast_1d(np.asarray(u, dtype=np.float64))
    middle = np.atleast_1d(np.asarray(value, dtype=np.float64))
    half = float(stats.norm.ppf(0.5 + 0.5 * LEVEL)) * size
    low, high = middle - half, middle + half
    if in_logarithm:
        low, high = middle * np.exp(-half / middle), middle * np.exp(half / middle)
    return LinearTest(low, high, drawn, numerical_tolerance(size, digits))
