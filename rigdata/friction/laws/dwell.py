"""The dwell law: a static coefficient that rises with the logarithm of the time at rest.

Contacts creep under load, and the static coefficient rises as the logarithm of
the time for which they have stood (J. H. Dieterich, J. Geophys. Res. 77 (1972)
3690, and Pure Appl. Geophys. 116 (1978) 790, on rock; E. Rabinowicz, Proc. Phys.
Soc. 71 (1958) 668, on metals).  The 1 in ``ln(1 + t/t0)`` keeps the value finite
at once after loading; common practice, no source.  In oil, films that are
squeezed out act the same way; common practice, no source.

t0 shows only where dwells lie on both sides of it: far above it the law is a
straight line in ln t, far below it one in t, and either way t0 moves nothing that
the other parameters could not.  It is held at 1 s unless the points determine it.
"""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import DWELL, Conditions, ReferenceCondition, shown_axes
from rigdata.friction.laws.base import (
    PRESSURE_EXPONENT,
    TEMPERATURE_COEFFICIENT,
    Law,
    LawParameter,
    start_surroundings,
    surroundings,
    surroundings_slopes,
)

HELD_T0_S = 1.0
_LOW_S, _HIGH_S = 1e-3, 1e4
_START_TIMES = 7
_STARTS = 3


def mu(conditions: Conditions, theta: FloatArray, reference: ReferenceCondition) -> FloatArray:
    """Return ``[mu0 + a ln(1 + t/t0)] exp(b (T - T0)) (p/p0)^c``, (n,)."""
    mu0, a, t0, b, c = theta
    level: FloatArray = mu0 + a * np.log1p(conditions.dwell_s / t0)
    return level * surroundings(conditions, b, c, reference)


def jacobian(
    conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu0, a, t0, b, c, (n, 5)."""
    _, a, t0, b, c = theta
    dwell = conditions.dwell_s
    factor = surroundings(conditions, b, c, reference)
    value = mu(conditions, theta, reference)
    return np.stack(
        [
            factor,
            factor * np.log1p(dwell / t0),
            -factor * a * dwell / (t0 * (t0 + dwell)),
            *surroundings_slopes(value, conditions, reference),
        ],
        axis=1,
    )


def starts(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return the best of a grid in t0, with mu0 and a solved linearly."""
    dwell = conditions.dwell_s
    b, c = start_surroundings(conditions, mu, reference)
    level = mu / surroundings(conditions, b, c, reference)
    if DWELL not in shown_axes(conditions):
        return [np.array([np.mean(level), 0.0, HELD_T0_S, b, c])]
    found = []
    for t0 in np.clip([HELD_T0_S, *np.geomspace(dwell.min(), dwell.max(), _START_TIMES)], *_INSIDE):
        columns = np.stack([np.ones(level.shape), np.log1p(dwell / t0)], axis=1)
        solution = np.linalg.lstsq(columns, level, rcond=None)[0]
        misfit = float(np.sum((level - columns @ solution) ** 2))
        found.append((misfit, np.array([max(solution[0], 1e-4), solution[1], t0, b, c])))
    return [theta for _, theta in sorted(found, key=lambda item: item[0])[:_STARTS]]


_INSIDE = (2.0 * _LOW_S, 0.5 * _HIGH_S)

LAW = Law(
    name="dwell",
    formula="mu = [mu0 + a ln(1 + t/t0)] exp(b (T - T0)) (p/p0)^c",
    parameters=(
        LawParameter(
            "mu0",
            "1",
            "static coefficient at once after loading, at the reference temperature and pressure",
            low=0.0,
            bound_reason="friction opposes slip",
        ),
        LawParameter(
            "a",
            "1",
            "rise of the static coefficient per e-fold of dwell",
            axes=(DWELL,),
            neutral=0.0,
        ),
        LawParameter(
            "t0",
            "s",
            "dwell from which the rise counts",
            axes=(DWELL,),
            neutral=HELD_T0_S,
            low=_LOW_S,
            high=_HIGH_S,
            bound_reason="beyond what a rig can hold, where it moves nothing",
            below="shorter dwells",
            above="longer dwells",
        ),
        TEMPERATURE_COEFFICIENT,
        PRESSURE_EXPONENT,
    ),
    mu=mu,
    jacobian=jacobian,
    starts=starts,
    simpler=("t0",),
    plainer="static",
)
