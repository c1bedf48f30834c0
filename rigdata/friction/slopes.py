"""How mu moves with slip speed, temperature and pressure: slopes with their intervals.

A coefficient that falls with slip speed feeds stick and slip: a pack that slows
down grips harder and slows down more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.friction.conditions import (
    ALL_AXES,
    AXES,
    LEAST_DWELL_RATIO,
    LEAST_PRESSURE_RATIO,
    LEAST_TEMPERATURE_SPAN_K,
    Conditions,
    at,
)
from rigdata.friction.envelope import nearest
from rigdata.friction.results import FrictionFit

FADE_K = 100.0  # the span that fade is quoted for
DOUBLING = float(np.log(2.0))  # and that of pressure, in ln p
TENFOLD = float(np.log(10.0))  # and that of the dwell before a breakaway, in ln t

_STEP = 1e-4  # of the slip speed: the error is of the order of its square
_PLACES = 121


@dataclass(frozen=True, eq=False)
class SpeedSlope:
    """The slope of mu over slip speed at n conditions, with its 95 % interval.

    Attributes
    ----------
    where : Conditions
        The n conditions.
    value, u, low, high : (n,) float
        ``dmu/dv``, its standard uncertainty and its interval. [s/m]
    """

    where: Conditions
    value: FloatArray
    u: FloatArray
    low: FloatArray
    high: FloatArray

    def __post_init__(self) -> None:
        for name in ("value", "u", "low", "high"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def falling(self) -> tuple[tuple[float, float], ...]:
        """Ranges of slip speed in which mu falls beyond doubt, for rising speeds. [m/s]"""
        return _ranges(self.where.slip_speed_m_s, -self.high)

    @property
    def rising(self) -> tuple[tuple[float, float], ...]:
        """Ranges of slip speed in which mu rises beyond doubt, for rising speeds. [m/s]"""
        return _ranges(self.where.slip_speed_m_s, self.low)


@dataclass(frozen=True)
class Change:
    """The relative change of mu over a step of one axis, from the whole range tested.

    Attributes
    ----------
    value, u, low, high : float
        Relative change, its standard uncertainty and 95 % interval.
    start, end : float
        The range over which it is the mean, the others at the reference.
    """

    value: float
    u: float
    low: float
    high: float
    start: float
    end: float


def follows(fit: FrictionFit, axis: str) -> bool:
    """Return whether the fitted law moves along one of `ALL_AXES`."""
    return any(axis in p.axes and p.name not in fit.not_identified for p in fit.form.parameters)


def tested_reference(fit: FrictionFit) -> Conditions:
    """Return the reference condition of a fit, or the nearest inside its envelope."""
    return nearest([fit.envelope], at(fit.reference)) or at(fit.reference)


def speed_slope(fit: FrictionFit, where: Conditions) -> SpeedSlope:
    """Return ``dmu/dv`` at `where`, by central differences of the law and of its Jacobian."""
    form, speed = fit.form, where.slip_speed_m_s
    ends = [
        Conditions(speed * (1.0 + side), where.temperature_c, where.pressure_mpa)
        for side in (-_STEP, _STEP)
    ]
    below, above = (form.mu(end, fit.theta, fit.reference) for end in ends)
    left, right = (form.jacobian(end, fit.theta, fit.reference) for end in ends)
    width = 2.0 * _STEP * speed
    value, gradient = (above - below) / width, (right - left) / width[:, None]
    half = fit.estimate.half_width(gradient)
    u = np.sqrt(fit.estimate.variance(gradient))
    return SpeedSlope(where, value, u, value - half, value + half)


def slope_over_speed(
    fit: FrictionFit, temperature_c: float, pressure_mpa: float
) -> SpeedSlope | None:
    """Return ``dmu/dv`` over the slip speeds tested at one temperature and pressure.

    None where the envelope holds no range of speeds there, or the law does not
    follow speed.
    """
    speeds = np.geomspace(fit.envelope.low[0], fit.envelope.high[0], _PLACES)
    where = Conditions(speeds, temperature_c, pressure_mpa)
    inside = fit.envelope.contains(where)
    if not follows(fit, AXES[0]) or np.sum(inside) < 2:
        return None
    return speed_slope(fit, where.select(inside))


def slopes_by_temperature(fit: FrictionFit) -> tuple[SpeedSlope, ...]:
    """Return ``dmu/dv`` over the speeds tested at the reference, and there cold and hot.

    Empty where the law does not follow speed; the reference alone where temperatures
    were varied too little.
    """
    centre, *others = surroundings_of_interest(fit)
    places = [centre, *(place for place in others if place[1] == centre[1])]
    slopes = (slope_over_speed(fit, *place) for place in places)
    return tuple(slope for slope in slopes if slope is not None)


def surroundings_of_interest(fit: FrictionFit) -> tuple[tuple[float, float], ...]:
    """Return temperatures and pressures to ask a slope at: [degC, MPa].

    The reference, cold and hot at its pressure, and low and high pressure at its
    temperature, each where the envelope holds half of the tested speeds (in ln v).
    """
    centre = tested_reference(fit)
    found = [(float(centre.temperature_c[0]), float(centre.pressure_mpa[0]))]
    speeds = np.geomspace(fit.envelope.low[0], fit.envelope.high[0], 41)
    for axis, least in ((1, LEAST_TEMPERATURE_SPAN_K), (2, float(np.log(LEAST_PRESSURE_RATIO)))):
        places = _places(fit, axis)
        grid = [part.ravel() for part in np.meshgrid(places, speeds, indexing="ij")]
        where = replace(_along(fit, axis, grid[0]), slip_speed_m_s=grid[1])
        share = fit.envelope.contains(where).reshape(places.size, -1).mean(axis=1)
        kept = places[share >= 0.5]
        if kept.size and _span(kept, axis) >= least:
            ends = kept[[0, -1]].tolist()
            found += [(t, found[0][1]) if axis == 1 else (found[0][0], t) for t in ends]
    return tuple(found)


def fade(fit: FrictionFit) -> Change | None:
    """Return the change of mu per 100 K, the mean over the temperatures tested.

    ``exp(100 K (ln mu(T_2) - ln mu(T_1)) / (T_2 - T_1)) - 1`` at the slip speed and
    pressure of the reference, `T_1` and `T_2` being the ends of the envelope there.
    None where the law does not follow temperature, or it was varied too little.
    """
    return _change(fit, 1, FADE_K, LEAST_TEMPERATURE_SPAN_K)


def pressure_effect(fit: FrictionFit) -> Change | None:
    """Return the change of mu per doubling of the face pressure, as `fade` in ln p."""
    return _change(fit, 2, DOUBLING, float(np.log(LEAST_PRESSURE_RATIO)))


def dwell_rise(fit: FrictionFit) -> Change | None:
    """Return the change of a static coefficient for ten times the dwell, as `fade` in ln t."""
    return _change(fit, 3, TENFOLD, float(np.log(LEAST_DWELL_RATIO)))


def _change(fit: FrictionFit, axis: int, step: float, least: float) -> Change | None:
    if not follows(fit, ALL_AXES[axis]):
        return None
    places = _places(fit, axis)
    line = _along(fit, axis, places)
    inside = places[fit.envelope.contains(line)]
    if inside.size < 2:
        return None
    ends, span = inside[[0, -1]], _span(inside, axis)
    if span < least:
        return None
    where = _along(fit, axis, ends)
    mu = fit.form.mu(where, fit.theta, fit.reference)
    slope = fit.form.jacobian(where, fit.theta, fit.reference) / mu[:, None]
    scale = step / span
    gradient = scale * (slope[1:] - slope[:1])
    value = scale * float(np.log(mu[1] / mu[0]))
    half = float(fit.estimate.half_width(gradient)[0])
    u = float(np.sqrt(fit.estimate.variance(gradient)[0])) * float(np.exp(value))
    low, middle, high = np.expm1([value - half, value, value + half]).tolist()
    return Change(middle, u, low, high, float(ends[0]), float(ends[1]))


def _places(fit: FrictionFit, axis: int) -> FloatArray:
    """Return places over the tested range of temperature (1), pressure (2) or dwell (3)."""
    spread = np.linspace if axis == 1 else np.geomspace
    places: FloatArray = spread(fit.envelope.low[axis], fit.envelope.high[axis], _PLACES)
    return places


def _span(places: FloatArray, axis: int) -> float:
    """Return how far places lie apart, in K or in ln p."""
    return float(places[-1] - places[0] if axis == 1 else np.log(places[-1] / places[0]))


def _along(fit: FrictionFit, axis: int, places: FloatArray) -> Conditions:
    centre: Mapping[str, FloatArray] = {n: getattr(tested_reference(fit), n) for n in ALL_AXES}
    return Conditions(**{**centre, ALL_AXES[axis]: places})


def _ranges(speed: FloatArray, sign: FloatArray) -> tuple[tuple[float, float], ...]:
    """Return the ranges of `speed` in which `sign` is above 0, ends between places in ln v."""
    above: BoolArray = sign > 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(int)))
    logs = np.log(speed)

    def crossing(i: int) -> float:
        """Return where `sign` crosses 0 between the places i - 1 and i."""
        if i in (0, speed.size):
            return float(speed[min(i, speed.size - 1)])
        share = sign[i] / (sign[i] - sign[i - 1])
        return float(np.exp(logs[i] - share * (logs[i] - logs[i - 1])))

    return tuple((crossing(int(a)), crossing(int(b))) for a, b in edges.reshape(-1, 2))
