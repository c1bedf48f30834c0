"""The quadratic law: ln mu as a full second-order polynomial of the condition.

The second-order response surface of Box and Wilson (J. R. Stat. Soc. B 13 (1951) 1)
in ln v, T and ln p.  It stands for no mechanism: it follows a bend along one
quantity, and an effect of one that depends on another, where the other laws cannot.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import AXES, Conditions, ReferenceCondition, shown_axes
from rigdata.friction.laws.base import (
    COEFFICIENT_AT_REFERENCE,
    Law,
    LawParameter,
    combined,
    limited_exp,
    log_pressure,
)

_KELVIN = 50.0  # the step of temperature that c2 and c22 refer to
_LEAST_NEW = 0.1  # evenly spread tests leave 0.30 of a square and 0.33 of a product

_LINEAR = tuple((i,) for i in range(len(AXES)))
_SECOND = tuple((i, i) for i in range(len(AXES))) + tuple(itertools.combinations(range(3), 2))
_TERMS = _LINEAR + _SECOND  # which of x, y, z each term is the product of


def mu(conditions: Conditions, theta: FloatArray, reference: ReferenceCondition) -> FloatArray:
    """Return ``mu0 exp(c1 x + ... + c23 y z)``, (n,)."""
    value: FloatArray = theta[0] * limited_exp(combined(terms(conditions, reference), theta[1:]))
    return value


def jacobian(
    conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu0, c1, ..., c23, (n, 10)."""
    columns = terms(conditions, reference)
    factor = limited_exp(combined(columns, theta[1:]))
    return np.concatenate([factor[:, None], (theta[0] * factor)[:, None] * columns], axis=1)


def starts(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return the linear least-squares solution in ln mu, 0 for terms that are not shown."""
    return [log_linear_start(LAW.parameters, terms(conditions, reference), conditions, mu)]


def log_linear_start(
    parameters: Sequence[LawParameter],
    columns: FloatArray,
    conditions: Conditions,
    mu: FloatArray,
) -> FloatArray:
    """Return mu0 and the coefficients of `columns` of least squares in ln mu, (p,).

    Those of parameters after mu0 that the tests at `conditions` cannot show are 0.
    """
    shown, lost = shown_axes(conditions), undetermined(conditions)
    free = [set(p.axes) <= shown and p.name not in lost for p in parameters]
    theta = np.zeros(len(parameters))
    every = np.column_stack([np.ones(mu.shape), columns])[:, free]
    theta[free] = np.linalg.lstsq(every, np.log(mu), rcond=None)[0]
    theta[0] = np.exp(theta[0])
    return theta


def undetermined(conditions: Conditions) -> frozenset[str]:
    """Return the second-order terms that the layout of the tests cannot tell from the others.

    Each term is tried after those before it, on coordinates that run from -1 to 1
    over the tests.  Temperatures in two clusters leave nothing of a square, and
    temperatures that rise with the slip speed nothing of a product.
    """
    shown = shown_axes(conditions)
    speed, pressure = np.log(conditions.slip_speed_m_s), np.log(conditions.pressure_mpa)
    scaled = {}
    for axis, values in zip(AXES, (speed, conditions.temperature_c, pressure), strict=True):
        if axis in shown:
            scaled[axis] = 2.0 * (values - values.min()) / np.ptp(values) - 1.0
    known, lost = [np.ones(len(conditions)), *scaled.values()], set()
    for term in _SECOND:
        if not all(AXES[i] in scaled for i in term):
            continue
        column = scaled[AXES[term[0]]] * scaled[AXES[term[1]]]
        before = np.stack(known, axis=1)
        rest = column - before @ np.linalg.lstsq(before, column, rcond=None)[0]
        if np.sqrt(np.mean(rest**2)) < _LEAST_NEW:
            lost.add(_name(term))
        else:
            known.append(column)
    return frozenset(lost)


def terms(conditions: Conditions, reference: ReferenceCondition) -> FloatArray:
    """Return x, y, z, their squares and their products, (n, 9)."""
    coordinates = (
        np.log(conditions.slip_speed_m_s / reference.slip_speed_m_s),
        (conditions.temperature_c - reference.temperature_c) / _KELVIN,
        log_pressure(conditions, reference),
    )
    return np.stack([np.prod([coordinates[i] for i in term], axis=0) for term in _TERMS], axis=1)


def _name(term: tuple[int, ...]) -> str:
    return "c" + "".join(str(i + 1) for i in term)


def _parameter(term: tuple[int, ...]) -> LawParameter:
    steps = ("e-fold of slip speed", "50 K of temperature", "e-fold of pressure")
    words = ("slip speed", "temperature", "pressure")
    first, last = term[0], term[-1]
    if len(term) == 1:
        meaning = f"relative change of mu per {steps[first]} at the reference condition"
    elif first == last:
        meaning = f"bend of ln mu along {words[first]}, per {steps[first]} squared"
    else:
        meaning = f"how the effect of {words[first]} on ln mu changes per {steps[last]}"
    axes = tuple(AXES[i] for i in dict.fromkeys(term))
    return LawParameter(_name(term), "1", meaning, axes=axes, neutral=0.0)


LAW = Law(
    name="quadratic",
    formula=(
        "ln mu = ln mu0 + c1 x + c2 y + c3 z + c11 x^2 + c22 y^2 + c33 z^2 + c12 x y + c13 x z "
        "+ c23 y z with x = ln(v/v0), y = (T - T0)/(50 K), z = ln(p/p0)"
    ),
    parameters=(
        COEFFICIENT_AT_REFERENCE,
        *(_parameter(term) for term in _TERMS),
    ),
    mu=mu,
    jacobian=jacobian,
    starts=starts,
    undetermined=undetermined,
    plainer="log-speed",
)
