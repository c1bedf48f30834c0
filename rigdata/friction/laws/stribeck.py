"""The Stribeck law: boundary friction that falls to mixed friction, then rises.

The exponential form is that of Bo and Pavelescu (Wear 82 (1982) 277) with the
exponent d free, and a term linear in slip speed for the viscous part.
"""

from __future__ import annotations

import itertools

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import Conditions, ReferenceCondition
from rigdata.friction.laws.base import (
    PRESSURE_EXPONENT,
    TEMPERATURE_COEFFICIENT,
    Law,
    LawParameter,
    start_surroundings,
    surroundings,
    surroundings_slopes,
)

_START_SPEEDS = 9
_START_EXPONENTS = (0.6, 1.0, 2.0)
_STARTS = 3
_LOG_LIMIT = 6.5  # exp(-exp(6.5)) is 0 in double precision
_SLOWER, _FASTER = "slower slips", "faster slips"
_CLOSER = "more slip speeds where the coefficient falls"


def mu(conditions: Conditions, theta: FloatArray, reference: ReferenceCondition) -> FloatArray:
    """Return ``[mu_k + (mu_s - mu_k) exp(-(v/v_s)^d) + k v] exp(b (T - T0)) (p/p0)^c``, (n,)."""
    mu_k, mu_s, v_s, d, k, b, c = theta
    film, _ = _boundary_share(conditions.slip_speed_m_s, v_s, d)
    level: FloatArray = mu_k + (mu_s - mu_k) * film + k * conditions.slip_speed_m_s
    return level * surroundings(conditions, b, c, reference)


def jacobian(
    conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu_k, mu_s, v_s, d, k, b, c, (n, 7)."""
    mu_k, mu_s, v_s, d, _, b, c = theta
    speed = conditions.slip_speed_m_s
    film, power = _boundary_share(speed, v_s, d)
    factor = surroundings(conditions, b, c, reference)
    fall = (mu_s - mu_k) * film * power * factor
    value = mu(conditions, theta, reference)
    return np.stack(
        [
            (1.0 - film) * factor,
            film * factor,
            fall * d / v_s,
            -fall * np.log(speed / v_s),
            speed * factor,
            *surroundings_slopes(value, conditions, reference),
        ],
        axis=1,
    )


def starts(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return the best of a grid in v_s and d, with mu_k, mu_s and k solved linearly."""
    speed = conditions.slip_speed_m_s
    b, c = start_surroundings(conditions, mu, reference)
    level = mu / surroundings(conditions, b, c, reference)
    found = []
    grid = np.geomspace(speed.min(), speed.max(), _START_SPEEDS)
    for v_s, d in itertools.product(grid, _START_EXPONENTS):
        film, _ = _boundary_share(speed, v_s, d)
        columns = np.stack([1.0 - film, film, speed], axis=1)
        solution = np.linalg.lstsq(columns, level, rcond=None)[0]
        misfit = float(np.sum((level - columns @ solution) ** 2))
        mu_k, mu_s = np.maximum(solution[:2], 1e-4)
        found.append((misfit, v_s, np.array([mu_k, mu_s, v_s, d, solution[2], b, c])))
    best: dict[float, FloatArray] = {}
    for _, v_s, theta in sorted(found, key=lambda item: item[0]):
        best.setdefault(v_s, theta)
    return list(best.values())[:_STARTS]


def _boundary_share(speed: FloatArray, v_s: float, d: float) -> tuple[FloatArray, FloatArray]:
    """Return ``exp(-(v/v_s)^d)`` and ``(v/v_s)^d``, both kept from overflow."""
    power = np.exp(np.minimum(d * np.log(speed / v_s), _LOG_LIMIT))
    return np.exp(-power), power


LAW = Law(
    name="stribeck",
    formula="mu = [mu_k + (mu_s - mu_k) exp(-(v/v_s)^d) + k v] exp(b (T - T0)) (p/p0)^c",
    parameters=(
        LawParameter(
            "mu_k",
            "1",
            "coefficient that the fall with slip speed leads to",
            low=0.0,
            bound_reason="friction opposes slip",
            below=_FASTER,
            above=_FASTER,
        ),
        LawParameter(
            "mu_s",
            "1",
            "coefficient towards standstill",
            axes=("slip_speed_m_s",),
            low=0.0,
            bound_reason="friction opposes slip",
            below=_SLOWER,
            above=_SLOWER,
        ),
        LawParameter(
            "v_s",
            "m/s",
            "Stribeck speed: where the fall has gone 63 % of its way",
            axes=("slip_speed_m_s",),
            low=1e-5,
            high=20.0,
            bound_reason="slip speeds a clutch pack can have",
            below=_SLOWER,
            above=_FASTER,
        ),
        LawParameter(
            "d",
            "1",
            "exponent: how sudden the fall is",
            axes=("slip_speed_m_s",),
            neutral=1.0,
            low=0.2,
            high=4.0,
            bound_reason="below the fall has no end, above it is a step",
            below=_CLOSER,
            above=_CLOSER,
        ),
        LawParameter(
            "k", "s/m", "viscous rise per slip speed", axes=("slip_speed_m_s",), neutral=0.0
        ),
        TEMPERATURE_COEFFICIENT,
        PRESSURE_EXPONENT,
    ),
    mu=mu,
    jacobian=jacobian,
    starts=starts,
    simpler=("d", "k"),
    plainer="log-speed",
)
