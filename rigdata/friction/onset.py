"""The slip speed below which a pack oscillates, with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from rigdata.arrays import BoolArray, FloatArray
from rigdata.errors import FitError
from rigdata.friction.conditions import (
    LEAST_PRESSURE_RATIO,
    LEAST_TEMPERATURE_SPAN_K,
    ReferenceCondition,
)
from rigdata.friction.logistic import Logistic, logistic
from rigdata.friction.ripple import Windows, spans_speed

CONFIDENCE = 0.95
ALPHA = 0.01  # chance of calling a dependence that is not there
_LEAST_PACKS = 3
_LEAST_SEEN = 3  # oscillating windows
_KELVIN = 50.0  # brings temperature to the order of one
_TOGETHER = 0.9  # correlation beyond which pressure and temperature cannot be told apart


@dataclass(frozen=True)
class Onset:
    """Slip speed at which half of the windows oscillate; below, most of them do.

    Attributes
    ----------
    speed_m_s, low, high : float
        At the reference temperature and pressure, with the 95 % interval. [m/s]
    basis : str
        ``packs`` where the interval rests on the spread between packs, ``windows``
        where there are too few.
    moves_with : tuple of str
        ``pressure`` and ``temperature``, where the onset depends on them; both
        where the tests varied them together.
    pressure_power : float
        Power of the pressure that the onset follows; 0 where none is fitted.
    per_kelvin : float
        Relative change of the onset with temperature; 0 where none is fitted. [1/K]
    """

    speed_m_s: float
    low: float
    high: float
    basis: str
    moves_with: tuple[str, ...]
    pressure_power: float
    per_kelvin: float


def speed_trend(windows: Windows) -> float:
    """Return how clearly oscillation goes with low slip speed: a standard normal number.

    Notes
    -----
    Negative where the slower windows oscillate.  The Mann-Whitney statistics of all
    windows that were run alike but for their speed are added up, each about its
    mean, over the root of the sum of their variances (stratified as by P. van
    Elteren, Bull. Inst. Internat. Statist. 37 (1960) 351; from memory).
    """
    away, variance = 0.0, 0.0
    for stratum in np.unique(windows.stratum).tolist():
        own = windows.stratum == stratum
        seen, speed = windows.oscillates[own], windows.points.slip_speed_m_s[own]
        m, n = int(seen.sum()), int(seen.size)
        if 0 < m < n and spans_speed(speed):
            away += float(stats.rankdata(speed)[seen].sum()) - 0.5 * m * (n + 1)
            variance += m * (n - m) * (n + 1) / 12.0
    return away / math.sqrt(variance) if variance > 0.0 else 0.0


def depends_on_speed(windows: Windows) -> bool:
    """Return whether it is shown that oscillation goes with low slip speed."""
    enough = int(windows.oscillates.sum()) >= _LEAST_SEEN
    return enough and speed_trend(windows) < float(stats.norm.ppf(ALPHA))


def find_onset(windows: Windows, reference: ReferenceCondition) -> Onset | None:
    """Find the onset slip speed of one group.

    Parameters
    ----------
    windows : Windows
        Of the group, in some of which the torque oscillates.
    reference : ReferenceCondition
        Whose temperature and pressure the onset is stated at.

    Returns
    -------
    Onset or None
        None where the oscillation does not grow less with speed after all.

    Notes
    -----
    ``ln(P / (1 - P)) = b0 + b1 ln v + b2 ln(p / p0) + b3 (T - T0)``, the last two terms
    only where each raises the likelihood beyond chance (1 %); the onset is
    ``exp(-b0 / b1)``.  With three packs or more its interval is the jackknife's over
    packs, in ln v (B. Efron, 1982): the windows of one pack are alike, so taking them
    as independent would claim too much.
    """
    columns = _columns(windows, reference)
    terms = _shown(columns, windows.oscillates)
    try:
        fit = logistic(columns[:, terms], windows.oscillates)
    except FitError:
        return None
    slope = fit.coefficients[1]
    if not slope < 0.0:
        return None
    middle = -float(fit.coefficients[0] / slope)
    half, basis = _half_width(windows, columns[:, terms], fit, middle)
    moves = dict(zip(terms, (-fit.coefficients / slope).tolist(), strict=True))
    names = {2: "pressure", 3: "temperature"}
    together = 2 in terms or 3 in terms
    both = together and _varied_together(columns)
    return Onset(
        speed_m_s=math.exp(middle),
        low=math.exp(middle - half),
        high=math.exp(middle + half),
        basis=basis,
        moves_with=tuple(names[i] for i in (2, 3) if i in terms or both),
        pressure_power=moves.get(2, 0.0),
        per_kelvin=moves.get(3, 0.0) / _KELVIN,
    )


def _columns(windows: Windows, reference: ReferenceCondition) -> FloatArray:
    points = windows.points
    return np.column_stack(
        [
            np.ones(len(points)),
            np.log(points.slip_speed_m_s),
            np.log(points.pressure_mpa / reference.pressure_mpa),
            (points.temperature_c - reference.temperature_c) / _KELVIN,
        ]
    )


def _shown(columns: FloatArray, seen: BoolArray) -> list[int]:
    """Return the columns to fit: speed, and what else the oscillation depends on."""
    terms, others = [0, 1], []
    if np.ptp(columns[:, 2]) >= math.log(LEAST_PRESSURE_RATIO):
        others.append(2)
    if np.ptp(columns[:, 3]) * _KELVIN >= LEAST_TEMPERATURE_SPAN_K:
        others.append(3)
    while others:
        gains = [_gain(columns[:, [*terms, other]], seen) for other in others]
        best = int(np.argmax(gains))
        if stats.chi2.sf(gains[best], 1) > ALPHA:
            break
        terms.append(others.pop(best))
        if _varied_together(columns):
            break  # the other would only undo it
    return terms


def _gain(design: FloatArray, seen: BoolArray) -> float:
    """Return twice the log-likelihood that the last column gains."""
    try:
        last = design.shape[1] - 1
        free, without = logistic(design, seen), logistic(design, seen, held=[last])
    except FitError:
        return 0.0
    return 2.0 * (free.log_likelihood - without.log_likelihood)


def _varied_together(columns: FloatArray) -> bool:
    first, second = (columns[:, i] - columns[:, i].mean() for i in (2, 3))
    size = math.sqrt(float(first @ first) * float(second @ second))
    return size > 0.0 and abs(float(first @ second)) > _TOGETHER * size


def _half_width(
    windows: Windows, design: FloatArray, fit: Logistic, middle: float
) -> tuple[float, str]:
    """Half of the interval in ln v, and what it rests on."""
    packs = windows.points.pack
    without: Sequence[float | None] = [
        _without(design[packs != pack], windows.oscillates[packs != pack])
        for pack in dict.fromkeys(packs.tolist())
    ]
    found = np.array([value for value in without if value is not None])
    if found.size == len(without) >= _LEAST_PACKS:
        u = math.sqrt((found.size - 1) / found.size * float(((found - found.mean()) ** 2).sum()))
        return float(stats.t.ppf(0.5 + CONFIDENCE / 2, found.size - 1)) * u, "packs"
    gradient = np.zeros(design.shape[1])
    gradient[:2] = [-1.0, -middle]
    gradient /= fit.coefficients[1]
    u = math.sqrt(float(gradient @ fit.covariance @ gradient))
    return float(stats.norm.ppf(0.5 + CONFIDENCE / 2)) * u, "windows"


def _without(design: FloatArray, seen: BoolArray) -> float | None:
    try:
        left = logistic(design, seen).coefficients
    except FitError:
        return None
    return -float(left[0] / left[1]) if left[1] < 0.0 else None
