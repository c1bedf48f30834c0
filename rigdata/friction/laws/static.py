"""The static law: one breakaway coefficient, followed over temperature and pressure.

The factor of temperature and pressure is that of the kinetic laws; common
practice, no source.
"""

from __future__ import annotations

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


def mu(conditions: Conditions, theta: FloatArray, reference: ReferenceCondition) -> FloatArray:
    """Return ``mu0 exp(b (T - T0)) (p/p0)^c``, (n,)."""
    mu0, b, c = theta
    value: FloatArray = mu0 * surroundings(conditions, b, c, reference)
    return value


def jacobian(
    conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu0, b, c, (n, 3)."""
    value = mu(conditions, theta, reference)
    return np.stack(
        [
            surroundings(conditions, theta[1], theta[2], reference),
            *surroundings_slopes(value, conditions, reference),
        ],
        axis=1,
    )


def starts(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return one start with b and c taken from the data and one with both at 0."""
    return [
        np.array([np.mean(mu / surroundings(conditions, b, c, reference)), b, c])
        for b, c in (start_surroundings(conditions, mu, reference), (0.0, 0.0))
    ]


LAW = Law(
    name="static",
    formula="mu = mu0 exp(b (T - T0)) (p/p0)^c",
    parameters=(
        LawParameter(
            "mu0",
            "1",
            "static coefficient at the reference temperature and pressure",
            low=0.0,
            bound_reason="friction opposes slip",
        ),
        TEMPERATURE_COEFFICIENT,
        PRESSURE_EXPONENT,
    ),
    mu=mu,
    jacobian=jacobian,
    starts=starts,
    plainer="constant",
)
