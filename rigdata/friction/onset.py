"""The slip speed below which a pack oscillates, with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from rigdata.arrays import BoolArray, FloatArray
from rigdata.friction.conditions import (
    LEAST_PRESSURE_RATIO,
    LEAST_TEMPERATURE_SPAN_K,
    ReferenceCondition,
)
from rigdata.friction.ripple import Windows, spans_speed

CONFIDENCE = 0.95
ALPHA = 0.01  # chance of calling a dependence that is not there
_LEAST = 3  # packs, or sweeps, whose spread can be told; oscillating windows
_PRESSURE, _KELVIN, _WAY = range(3)  # what the onset of a sweep may move with
_TOGETHER = 0.9  # correlation beyond which pressure and temperature cannot be told apart


@dataclass(frozen=True)
class Onset:
    """Slip speed at which a pack begins to oscillate when it slows down.

    Attributes
    ----------
    speed_m_s, low, high : float
        At the reference temperature and pressure, with the 95 % interval. [m/s]
    basis : str
        What the interval rests on: the spread between ``packs``, that between the
        ``sweeps`` of fewer than three packs, or the ``windows`` of one or two sweeps.
    sweeps, sweeps_tested : int
        Sweeps that passed an onset, and all that could have shown one.
    moves_with : tuple of str
        ``pressure`` and ``temperature``, where the onset depends on them; both
        where the tests varied them together.
    pressure_power : float
        Power of the pressure that the onset follows; 0 where none is fitted.
    per_kelvin : float
        Relative change of the onset with temperature; 0 where none is fitted. [1/K]
    up_over_down : float
        Speed at which the oscillation dies out on the way up over that at which it
        starts on the way down; 1 where the two are not shown to differ.
    """

    speed_m_s: float
    low: float
    high: float
    basis: str
    sweeps: int
    sweeps_tested: int
    moves_with: tuple[str, ...]
    pressure_power: float
    per_kelvin: float
    up_over_down: float


@dataclass(frozen=True, eq=False)
class _Sweeps:
    """The s sweeps of a group that passed an onset.

    Attributes
    ----------
    pack : list of str
    middle, u : (s,) float
        Onset in ln v, and its standard uncertainty from the windows of the sweep alone.
    at : (s, 3) float
        ln p and T there, less those of the reference, and 0.5, -0.5 or 0 for up, down
        or neither.
    tested : int
        Sweeps that could have shown an onset.
    """

    pack: list[str]
    middle: FloatArray
    u: FloatArray
    at: FloatArray
    tested: int


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
    enough = int(windows.oscillates.sum()) >= _LEAST
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
        None where no sweep has windows of both kinds, the slower ones oscillating.

    Notes
    -----
    Each sweep has its own onset: the speed that parts its windows best.  Its logarithm
    is linear in ln p, T and the way of the sweep, each where the sweeps show it beyond
    chance (1 %).  The onset of a
    pack is the mean of its sweeps, that of the group the mean of its packs, and with
    three packs or more the interval comes from their spread: what was run on one pack
    is alike, so taking its sweeps as independent would claim too much.  The interval
    is no narrower than what the windows of one sweep can tell, because sweeps in bins
    of the same speeds share where these lie.
    """
    sweeps = _sweeps(windows, reference)
    if not sweeps.middle.size:
        return None
    terms = _shown(sweeps)
    slopes = dict(zip(terms, _least_squares(sweeps, terms)[0][1:].tolist(), strict=True))
    moved = sum((slope * sweeps.at[:, i] for i, slope in slopes.items()), np.zeros(len(sweeps.u)))
    plain = sweeps.middle - moved
    packs = np.array(sweeps.pack)
    means = np.array([plain[packs == name].mean() for name in dict.fromkeys(sweeps.pack)])
    within = float(np.median(sweeps.u))
    if means.size >= _LEAST:
        basis, values, dof = "packs", means, means.size - 1
    else:
        basis, values, dof = "sweeps", plain, plain.size - 1 - len(terms)
    u = within
    if values.size >= _LEAST and dof >= 1:
        u = max(math.sqrt(float(np.sum((values - values.mean()) ** 2)) / dof / values.size), within)
    else:
        basis, values, dof = "windows", plain, 0
    half = float(stats.t.ppf(0.5 + CONFIDENCE / 2, dof or math.inf)) * u
    middle = float(values.mean())
    names = ("pressure", "temperature")
    surroundings = {_PRESSURE, _KELVIN} & set(terms)
    both = bool(surroundings) and _varied_together(sweeps)
    return Onset(
        speed_m_s=math.exp(middle),
        low=math.exp(middle - half),
        high=math.exp(middle + half),
        basis=basis,
        sweeps=plain.size,
        sweeps_tested=sweeps.tested,
        moves_with=tuple(names[i] for i in (_PRESSURE, _KELVIN) if i in surroundings or both),
        pressure_power=slopes.get(_PRESSURE, 0.0),
        per_kelvin=slopes.get(_KELVIN, 0.0),
        up_over_down=math.exp(slopes.get(_WAY, 0.0)),
    )


def _sweeps(windows: Windows, reference: ReferenceCondition) -> _Sweeps:
    """Find the onset of each sweep, and where it was run."""
    packs, found, tested = [], [], 0
    for stratum in np.unique(windows.stratum).tolist():
        own = windows.select(windows.stratum == stratum)
        points, ln_speed = own.points, np.log(own.points.slip_speed_m_s)
        if not spans_speed(points.slip_speed_m_s):
            continue
        tested += 1
        middle, u = _passed(ln_speed, own.oscillates)
        if not math.isfinite(middle):
            continue
        order = np.argsort(ln_speed)
        pressure, kelvin = (
            float(np.interp(middle, ln_speed[order], values[order]))
            for values in (points.pressure_mpa, points.temperature_c)
        )
        way = {"up": 0.5, "down": -0.5}.get(str(points.direction[0]), 0.0)
        packs.append(str(points.pack[0]))
        at = (
            math.log(pressure / reference.pressure_mpa),
            kelvin - reference.temperature_c,
            way,
        )
        found.append((middle, u, *at))
    table = np.array(found).reshape(-1, 5)
    return _Sweeps(packs, table[:, 0], table[:, 1], table[:, 2:], tested)


def _passed(ln_speed: FloatArray, seen: BoolArray) -> tuple[float, float]:
    """Return where the windows of a sweep stop to oscillate, and its standard uncertainty, in ln v.

    It lies between the two neighbours that leave the fewest windows on the wrong side;
    it may lie anywhere from the slowest quiet window to the fastest that oscillates,
    or between these two where they do not overlap.  NaN where there is no such place.
    """
    order = np.argsort(ln_speed, kind="stable")
    speed, sees = ln_speed[order], seen[order]
    wrong = np.cumsum(~sees)[:-1] + np.cumsum(sees[::-1])[::-1][1:]
    best = int(np.argmin(wrong)) if wrong.size else 0
    if not wrong.size or wrong[best] >= min(int(seen.sum()), int((~seen).sum())):
        return math.nan, math.nan
    width = abs(float(speed[sees].max() - speed[~sees].min()))
    return 0.5 * float(speed[best] + speed[best + 1]), width / math.sqrt(12.0)


def _shown(sweeps: _Sweeps) -> list[int]:
    """Return what the onset is shown to move with, the clearest first."""
    least = (math.log(LEAST_PRESSURE_RATIO), LEAST_TEMPERATURE_SPAN_K, 1.0)
    terms: list[int] = []
    others = [i for i in range(3) if np.ptp(sweeps.at[:, i]) >= least[i]]
    # The way goes in first, where it can: it would drown the others.
    if _WAY in others and sweeps.u.size >= 4:
        terms.append(_WAY)
    others = [i for i in others if i != _WAY]
    while others:
        chances = [_chance(sweeps, [*terms, other]) for other in others]
        best = int(np.argmin(chances))
        if chances[best] > ALPHA:
            break
        terms.append(others.pop(best))
        if _varied_together(sweeps):
            break  # the other would only undo it
    if _WAY in terms and _chance(sweeps, [*(i for i in terms if i != _WAY), _WAY]) > ALPHA:
        terms.remove(_WAY)
    return terms


def _chance(sweeps: _Sweeps, terms: list[int]) -> float:
    """Return the chance of so large a slope along the last of `terms` by accident."""
    slopes, u = _least_squares(sweeps, terms)
    dof = sweeps.u.size - 1 - len(terms)
    if dof < 1 or not u[-1] > 0.0:
        return 1.0
    return 2.0 * float(stats.t.sf(abs(slopes[-1]) / u[-1], dof))


def _least_squares(sweeps: _Sweeps, terms: list[int]) -> tuple[FloatArray, FloatArray]:
    """Return the coefficients of ln v on a constant and `terms`, and their uncertainties.

    The scatter about the line is taken as no smaller than what the windows of a sweep
    can tell: in bins of the same speeds onsets may agree by luck.
    """
    design = np.column_stack([np.ones(sweeps.u.size), sweeps.at[:, terms]])
    inverse = np.linalg.pinv(design.T @ design)
    solved = inverse @ design.T @ sweeps.middle
    rest = sweeps.middle - design @ solved
    dof = max(sweeps.u.size - design.shape[1], 1)
    variance = max(float(rest @ rest) / dof, float(np.median(sweeps.u)) ** 2)
    u: FloatArray = np.sqrt(variance * np.maximum(np.diag(inverse), 0.0))
    return solved, u


def _varied_together(sweeps: _Sweeps) -> bool:
    """Return whether the sweeps cannot tell pressure from temperature."""
    first, second = (sweeps.at[:, i] - sweeps.at[:, i].mean() for i in (_PRESSURE, _KELVIN))
    size = math.sqrt(float(first @ first) * float(second @ second))
    return size > 0.0 and abs(float(first @ second)) > _TOGETHER * size
