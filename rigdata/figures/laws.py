"""Fitted laws and friction points along one coordinate, ready to be drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.friction.conditions import AXES, DWELL, Conditions, ReferenceCondition
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints

_BEYOND = 0.06  # how far past the tested range a law is drawn, as a part of that range


@dataclass(frozen=True, eq=False)
class Curve:
    """A fitted law along one coordinate, with the others at the reference.

    Attributes
    ----------
    coordinate : str
        One of `rigdata.friction.conditions.ALL_AXES`.
    x : (n,) array
        Positions along it. [m/s, degC, MPa or s]
    mu, mean_low, mean_high, next_pack_low, next_pack_high : (n,) array
        The law and its two 95 % intervals; the last two are NaN where only one
        pack was tested.
    inside : (n,) bool
        Whether the condition lies in the tested envelope.
    """

    coordinate: str
    x: FloatArray
    mu: FloatArray
    mean_low: FloatArray
    mean_high: FloatArray
    next_pack_low: FloatArray
    next_pack_high: FloatArray
    inside: BoolArray

    def __post_init__(self) -> None:
        for name in ("x", "mu", "mean_low", "mean_high", "next_pack_low", "next_pack_high"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "inside", frozen(self.inside, np.bool_))


def along(fit: FrictionFit, coordinate: str, x: FloatArray, reference: ReferenceCondition) -> Curve:
    """Return the law of `fit` at the places `x` of one coordinate."""
    places = {name: np.full(x.shape, getattr(reference, name)) for name in AXES}
    places[coordinate] = x
    prediction = fit.predict(Conditions(**places))
    return Curve(
        coordinate=coordinate,
        x=x,
        mu=prediction.mu,
        mean_low=prediction.mean_low,
        mean_high=prediction.mean_high,
        next_pack_low=prediction.next_pack_low,
        next_pack_high=prediction.next_pack_high,
        inside=prediction.inside,
    )


def tested_places(points: FrictionPoints, coordinate: str, n: int) -> FloatArray:
    """Return `n` places over the tested range of one coordinate and a little beyond."""
    values = getattr(points, coordinate)
    if coordinate in ("slip_speed_m_s", DWELL):
        low, high = np.log(values.min()), np.log(values.max())
        margin = max((high - low) * _BEYOND, 0.02)
        logs: FloatArray = np.exp(np.linspace(low - margin, high + margin, n))
        return logs
    low, high = values.min(), values.max()
    margin = max((high - low) * _BEYOND, 0.02 * abs(high))
    return np.linspace(max(low - margin, 0.0), high + margin, n)


def moved_to_reference(
    points: FrictionPoints, fit: FrictionFit, coordinate: str, reference: ReferenceCondition
) -> FloatArray:
    """Return mu of each point moved along the law to the reference condition.

    Only `coordinate` keeps the point's own value; so points from any
    temperature and pressure can stand beside one curve.
    """
    own = {name: getattr(points, name) for name in AXES}
    moved = {
        name: own[name] if name == coordinate else np.full(len(points), getattr(reference, name))
        for name in AXES
    }
    there = fit.predict(Conditions(**moved)).mu
    here = fit.predict(Conditions(**own)).mu
    result: FloatArray = points.mu * there / here
    return result


def points_of(points: FrictionPoints, group: Group) -> BoolArray:
    """Return which points are used, kinetic, and of `group`."""
    mine = (points.material == group.material) & (points.state == group.state)
    chosen: BoolArray = mine & points.used & (points.kind == "kinetic")
    return chosen
