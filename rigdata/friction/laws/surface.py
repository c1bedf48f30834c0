"""The surface: ln mu as a smooth function of the condition, where no formula follows the points.

Straight lines in ln v, T and ln p with their products, as in the quadratic law, bends
along each quantity, and what these gain or lose along another one (an analysis of
variance of a function: S. N. Wood, F. Scheipl and J. J. Faraway, Stat. Comput. 23
(2013) 341).  Bends are drawn towards 0 as far as the data let them: where these show
none, the surface is straight lines and products alone.
"""

from __future__ import annotations

import itertools
from functools import lru_cache, partial

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Reference
from rigdata.friction.conditions import AXES, Conditions, ReferenceCondition, at
from rigdata.friction.laws import quadratic
from rigdata.friction.laws.base import Law, LawParameter, Smooth, combined, limited_exp
from rigdata.friction.laws.knots import Knots, coordinate
from rigdata.friction.laws.natural_spline import line_and_bends

NAME = "surface"

_SHARED = (4, 3, 2)  # the line and the broadest bends, whose products are the interplay
_LETTERS = "vtp"
_WORDS = ("slip speed", "temperature", "pressure")
_PAIRS = tuple(itertools.combinations(range(len(AXES)), 2))
_SQUARES = frozenset({"c11", "c22", "c33"})
_KEPT = [i for i, name in enumerate(quadratic.LAW.names) if name not in _SQUARES]
_STRAIGHT = tuple(quadratic.LAW.parameters[i] for i in _KEPT)


def surface(knots: Knots) -> Law:
    """Return the law of the surfaces that bend between `knots`."""
    smooths = _smooths(knots)
    return Law(
        name=NAME,
        formula=(
            "ln mu = ln mu0 + c1 x + c2 y + c3 z + c12 x y + c13 x z + c23 y z + bends "
            "with x = ln(v/v0), y = (T - T0)/(50 K), z = ln(p/p0)"
        ),
        parameters=(*_STRAIGHT, *itertools.chain.from_iterable(smooths.values())),
        mu=partial(mu, knots),
        jacobian=partial(jacobian, knots),
        starts=partial(starts, knots),
        undetermined=undetermined,
        smooths=tuple(Smooth(name, tuple(p.name for p in own)) for name, own in smooths.items()),
    )


def mu(
    knots: Knots, conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return ``mu0 exp(columns @ theta[1:])``, (n,)."""
    value: FloatArray = theta[0] * limited_exp(
        combined(columns(knots, conditions, reference), theta[1:])
    )
    return value


def jacobian(
    knots: Knots, conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu0 and every coefficient, (n, p)."""
    matrix = columns(knots, conditions, reference)
    factor = limited_exp(matrix @ theta[1:])
    return np.concatenate([factor[:, None], (theta[0] * factor)[:, None] * matrix], axis=1)


def starts(
    knots: Knots, conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return the linear least-squares solution in ln mu without bends."""
    matrix = columns(knots, conditions, reference)
    straight = matrix[:, : len(_STRAIGHT) - 1]
    theta = quadratic.log_linear_start(_STRAIGHT, straight, conditions, mu)
    return [np.concatenate([theta, np.zeros(matrix.shape[1] - straight.shape[1])])]


def undetermined(conditions: Conditions) -> frozenset[str]:
    """Return the products that the layout of the tests cannot tell from the other terms."""
    return quadratic.undetermined(conditions) - _SQUARES


def columns(knots: Knots, conditions: Conditions, reference: ReferenceCondition) -> FloatArray:
    """Return what the coefficients after mu0 multiply, 0 at the reference condition, (n, p - 1)."""
    return _kept_columns(
        knots,
        conditions,
        reference.slip_speed_m_s,
        reference.temperature_c,
        reference.pressure_mpa,
    )


@lru_cache(maxsize=8)  # a fit asks for the same conditions, which are read-only, many times
def _kept_columns(
    knots: Knots, conditions: Conditions, speed: float, temperature: float, pressure: float
) -> FloatArray:
    reference = Reference(speed, temperature, pressure)
    straight = quadratic.terms(conditions, reference)[:, [i - 1 for i in _KEPT[1:]]]
    smooth = _smooth_columns(knots, conditions) - _smooth_columns(knots, at(reference))
    return np.concatenate([straight, smooth], axis=1)


def _smooth_columns(knots: Knots, conditions: Conditions) -> FloatArray:
    """Return the bends along each quantity, then the products, in the order of `_smooths`."""
    along = [
        line_and_bends(places, coordinate(axis, getattr(conditions, axis)))
        for axis, places in knots.places.items()
    ]
    found = [part[:, 1:] for part in along]
    for i, j in _PAIRS:
        left, right = along[i][:, : _SHARED[i], None], along[j][:, None, : _SHARED[j]]
        # The first product, of two lines, is one of c12, c13, c23.
        found.append((left * right).reshape(len(conditions), -1)[:, 1:])
    return np.concatenate(found, axis=1)


def _smooths(knots: Knots) -> dict[str, list[LawParameter]]:
    """Return the parameters of the bends along each quantity, then those of their interplay."""
    sizes = [max(len(places) - 1, 0) for places in knots.places.values()]
    found = {}
    for axis, letter, word, size in zip(AXES, _LETTERS, _WORDS, sizes, strict=True):
        found[f"bends along {word}"] = [
            LawParameter(f"{letter}{k}", "1", f"bend {k} along {word}", (axis,), neutral=0.0)
            for k in range(1, size)
        ]
    found["interplay of bends"] = [
        LawParameter(
            f"{_LETTERS[i]}{k}{_LETTERS[j]}{m}",
            "1",
            f"{_part(k)} along {_WORDS[i]} times {_part(m)} along {_WORDS[j]}",
            (AXES[i], AXES[j]),
            neutral=0.0,
        )
        for i, j in _PAIRS
        for k, m in itertools.product(
            range(min(sizes[i], _SHARED[i])), range(min(sizes[j], _SHARED[j]))
        )
        if k or m
    ]
    return {name: own for name, own in found.items() if own}


def _part(k: int) -> str:
    return f"bend {k}" if k else "line"
