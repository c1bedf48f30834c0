"""The constant law: one coefficient for every condition."""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import Conditions, ReferenceCondition
from rigdata.friction.laws.base import Law, LawParameter


def mu(conditions: Conditions, theta: FloatArray, reference: ReferenceCondition) -> FloatArray:
    """Return ``mu0``, (n,)."""
    return np.broadcast_to(theta[0], conditions.slip_speed_m_s.shape)


def jacobian(
    conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivative of mu with respect to mu0, (n, 1)."""
    return np.ones((len(conditions), 1))


def starts(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return the mean and the median of the data."""
    return [np.array([np.mean(mu)]), np.array([np.median(mu)])]


LAW = Law(
    name="constant",
    formula="mu = mu0",
    parameters=(
        LawParameter(
            "mu0", "1", "friction coefficient", low=0.0, bound_reason="friction opposes slip"
        ),
    ),
    mu=mu,
    jacobian=jacobian,
    starts=starts,
)
