"""How mu moves with slip speed, temperature and pressure: slopes with their intervals.

A coefficient that falls with slip speed feeds stick and slip: a pack that slows
down grips harder and slows down more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
    ReferenceCondition,
    at,
)
from rigdata.friction.envelope import Envelope, nearest
from rigdata.friction.laws.base import Law
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
    """Return ``dmu/dv`` at `where`."""
    value, gradient = slope_of_law(fit.form, fit.theta, fit.reference, where)
    half = fit.estimate.half_width(gradient)
    u = np.sqrt(fit.estimate.variance(gradient))
    return SpeedSlope(where, value, u, value - half, value + half)


def slope_of_law(
    form: Law, theta: FloatArray, reference: ReferenceCondition, where: Conditions
) -> tuple[FloatArray, FloatArray]:
    """Return ``dmu/dv`` at `where`, (n,), and its derivatives by the parameters, (n, p).

    By central differences of the law and of its Jacobian. [s/m]
    """
    speed = where.slip_speed_m_s
    below, above = (replace(where, slip_speed_m_s=speed * (1.0 + side)) for side in (-_STEP, _STEP))
    width = 2.0 * _STEP * speed
    rise = form.mu(above, theta, reference) - form.mu(below, theta, reference)
    bend = form.jacobian(above, theta, reference) - form.jacobian(below, theta, reference)
    return rise / width, bend / width[:, None]


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
    temperature, pressure = float(centre.temperature_c[0]), float(centre.pressure_mpa[0])
    cold_and_hot = well_tested_ends([fit.envelope], centre, 1, LEAST_TEMPERATURE_SPAN_K)
    low_and_high = well_tested_ends([fit.envelope], centre, 2, float(np.log(LEAST_PRESSURE_RATIO)))
    return (
        (temperature, pressure),
        *((t, pressure) for t in cold_and_hot),
        *((temperature, p) for p in low_and_high),
    )


def well_tested_ends(
    envelopes: Sequence[Envelope], centre: Conditions, axis: int, least: float
) -> tuple[float, ...]:
    """Return the ends of temperature (1) or pressure (2) where most speeds were tested.

    At both ends all `envelopes` hold half of the speeds tested in common (in ln v), the
    other axis being at `centre`; none where these lie less than `least` apart.
    """
    places, speeds = _places(envelopes, axis), _places(envelopes, 0)[::3]
    grid = [part.ravel() for part in np.meshgrid(places, speeds, indexing="ij")]
    where = replace(_along(centre, axis, grid[0]), slip_speed_m_s=grid[1])
    inside = np.all([envelope.contains(where) for envelope in envelopes], axis=0)
    kept = places[inside.reshape(places.size, -1).mean(axis=1) >= 0.5]
    if not kept.size or _span(kept, axis) < least:
        return ()
    return float(kept[0]), float(kept[-1])


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


def change_of_law(
    form: Law, theta: FloatArray, reference: ReferenceCondition, ends: Conditions
) -> tuple[float, FloatArray]:
    """Return the change of ln mu between two conditions and its derivatives, (p,)."""
    mu = form.mu(ends, theta, reference)
    slope = form.jacobian(ends, theta, reference) / mu[:, None]
    return float(np.log(mu[1] / mu[0])), slope[1] - slope[0]


def tested_ends(
    envelopes: Sequence[Envelope], centre: Conditions, axis: int
) -> tuple[Conditions, float] | None:
    """Return the ends of what was tested along one axis, the others at `centre`.

    Parameters
    ----------
    envelopes : sequence of Envelope
        The ends lie inside all of them.
    centre : Conditions
        A single condition.
    axis : int
        Of `ALL_AXES`: temperature (1), pressure (2) or dwell (3).

    Returns
    -------
    (Conditions, float) or None
        Two conditions and how far they lie apart, in K or in ln p or ln t; None where
        there is no range.
    """
    places = _places(envelopes, axis)
    line = _along(centre, axis, places)
    inside = np.all([envelope.contains(line) for envelope in envelopes], axis=0)
    if np.sum(inside) < 2:
        return None
    ends = line.select(np.flatnonzero(inside)[[0, -1]])
    return ends, _span(getattr(ends, ALL_AXES[axis]), axis)


def _change(fit: FrictionFit, axis: int, step: float, least: float) -> Change | None:
    if not follows(fit, ALL_AXES[axis]):
        return None
    ends, span = tested_ends([fit.envelope], tested_reference(fit), axis) or (None, 0.0)
    if ends is None or span < least:
        return None
    change, slope = change_of_law(fit.form, fit.theta, fit.reference, ends)
    value, gradient = change * step / span, slope[None, :] * step / span
    half = float(fit.estimate.half_width(gradient)[0])
    u = float(np.sqrt(fit.estimate.variance(gradient)[0])) * float(np.exp(value))
    low, middle, high = np.expm1([value - half, value, value + half]).tolist()
    start, end = getattr(ends, ALL_AXES[axis]).tolist()
    return Change(middle, u, low, high, start, end)


def _places(envelopes: Sequence[Envelope], axis: int) -> FloatArray:
    """Return places over the range of one of `ALL_AXES` that all envelopes have in common."""
    low = max(float(envelope.low[axis]) for envelope in envelopes)
    high = min(float(envelope.high[axis]) for envelope in envelopes)
    places: FloatArray = (np.linspace if axis == 1 else np.geomspace)(low, high, _PLACES)
    return places


def _span(places: FloatArray, axis: int) -> float:
    """Return how far places lie apart, in K or in ln p."""
    return float(places[-1] - places[0] if axis == 1 else np.log(places[-1] / places[0]))


def _along(centre: Conditions, axis: int, places: FloatArray) -> Conditions:
    parts: Mapping[str, FloatArray] = {name: getattr(centre, name) for name in ALL_AXES}
    return Conditions(**{**parts, ALL_AXES[axis]: places})


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
