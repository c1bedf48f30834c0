"""The log-speed law: boundary friction, linear in the logarithm of slip speed.

A thermally activated shear of boundary films gives a coefficient linear in
ln v over a few decades (Briscoe and Evans, Proc. R. Soc. Lond. A 380 (1982) 389).
"""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import Conditions, ReferenceCondition, shown_axes
from rigdata.friction.laws.base import (
    COEFFICIENT_AT_REFERENCE,
    PRESSURE_EXPONENT,
    TEMPERATURE_COEFFICIENT,
    Law,
    LawParameter,
    start_surroundings,
    surroundings,
    surroundings_slopes,
)


def mu(conditions: Conditions, theta: FloatArray, reference: ReferenceCondition) -> FloatArray:
    """Return ``[mu0 + a ln(v/v0)] exp(b (T - T0)) (p/p0)^c``, (n,)."""
    mu0, a, b, c = theta
    level: FloatArray = mu0 + a * _log_speed(conditions, reference)
    return level * surroundings(conditions, b, c, reference)


def jacobian(
    conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu0, a, b, c, (n, 4)."""
    factor = surroundings(conditions, theta[2], theta[3], reference)
    value = mu(conditions, theta, reference)
    return np.stack(
        [
            factor,
            factor * _log_speed(conditions, reference),
            *surroundings_slopes(value, conditions, reference),
        ],
        axis=1,
    )


def starts(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return one start with b and c taken from the data and one with both at 0."""
    return [
        _linear_start(conditions, mu, reference, b, c)
        for b, c in (start_surroundings(conditions, mu, reference), (0.0, 0.0))
    ]


def _linear_start(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition, b: float, c: float
) -> FloatArray:
    level = mu / surroundings(conditions, b, c, reference)
    columns = [np.ones(level.shape)]
    if "slip_speed_m_s" in shown_axes(conditions):
        columns.append(_log_speed(conditions, reference))
    solution = np.linalg.lstsq(np.stack(columns, axis=1), level, rcond=None)[0]
    a = float(solution[1]) if solution.size > 1 else 0.0
    return np.array([max(solution[0], 1e-4), a, b, c])


def _log_speed(conditions: Conditions, reference: ReferenceCondition) -> FloatArray:
    logarithm: FloatArray = np.log(conditions.slip_speed_m_s / reference.slip_speed_m_s)
    return logarithm


LAW = Law(
    name="log-speed",
    formula="mu = [mu0 + a ln(v/v0)] exp(b (T - T0)) (p/p0)^c",
    parameters=(
        COEFFICIENT_AT_REFERENCE,
        LawParameter(
            "a",
            "1",
            "change of mu per e-fold of slip speed",
            axes=("slip_speed_m_s",),
            neutral=0.0,
        ),
        TEMPERATURE_COEFFICIENT,
        PRESSURE_EXPONENT,
    ),
    mu=mu,
    jacobian=jacobian,
    starts=starts,
    plainer="constant",
)
