"""Traits beside the level of mu: its slope over slip speed and the static-to-kinetic ratio.

A coefficient that falls with slip speed, or a static one well above the
kinetic, lets a clutch pack stick and slip (chatter).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.campaign.campaign import Reference
from rigdata.comparison.verdict import condition_text
from rigdata.errors import FitError
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.design import Block
from rigdata.friction.envelope import nearest
from rigdata.friction.fit import split
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.slopes import follows, speed_slope
from rigdata.reduction.points import FrictionPoints

SPEED_SLOPE, STATIC_KINETIC = "dmu/dv", "static/kinetic"


@dataclass(frozen=True)
class Trait:
    """One number about a group with its 95 % interval.

    Attributes
    ----------
    group : Group
    name : str
        ``dmu/dv`` [s/m] or ``static/kinetic``.
    value, u, low, high : float
        Value, standard uncertainty and interval.
    words : str
        What it means, in one sentence.
    """

    group: Group
    name: str
    value: float
    u: float
    low: float
    high: float
    words: str


def speed_slopes(fits: Mapping[Group, FrictionFit], reference: Reference) -> tuple[Trait, ...]:
    """Return dmu/dv at the reference condition, or at the nearest that was tested.

    Groups have none when their law does not depend on slip speed.
    """
    following = (fit for fit in fits.values() if follows(fit, "slip_speed_m_s"))
    return tuple(_speed_slope(fit, reference) for fit in following)


def static_ratios(
    points: FrictionPoints,
    kinetic: Mapping[Group, FrictionFit],
    static: Mapping[Group, FrictionFit],
    reference: Reference,
) -> tuple[Trait, ...]:
    """Return the mean static coefficient over the kinetic one at the reference condition.

    Both are fitted together, so that shared errors cancel.  The scatter of one
    pack's static and kinetic coefficients is taken to be independent, which
    makes the interval, if anything, too wide.
    """
    own, at_rest = split(points, "kinetic"), split(points, "static")
    found = []
    for group in static:
        if group in kinetic:
            try:
                found.append(_static_ratio(own[group], at_rest[group], kinetic[group], reference))
            except FitError:
                continue
    return tuple(found)


def _speed_slope(fit: FrictionFit, reference: Reference) -> Trait:
    place = _tested(fit, reference)
    slope = speed_slope(fit, place)
    value, u, low, high = (float(getattr(slope, n)[0]) for n in ("value", "u", "low", "high"))
    where = f"at {condition_text(place)}"
    if low > 0.0:
        words = f"{fit.group}: mu rises with slip speed {where}, which damps chatter"
    elif high < 0.0:
        words = f"{fit.group}: mu falls with slip speed {where}, which feeds chatter"
    else:
        words = f"{fit.group}: whether mu rises or falls with slip speed is not resolved {where}"
    return Trait(fit.group, SPEED_SLOPE, value, u, low, high, words)


def _static_ratio(
    points: FrictionPoints, at_rest: FrictionPoints, fit: FrictionFit, reference: Reference
) -> Trait:
    form, place = fit.form, _tested(fit, reference)
    held = {name: fit.parameters[name] for name in fit.not_identified}
    blocks = [
        Block(f"{fit.group}, static", at_rest, law("constant"), {}),
        Block(str(fit.group), points, form, held),
    ]
    start = np.concatenate([[np.mean(at_rest.mu)], fit.theta])
    joint = joint_fit(blocks, fit.reference, [start])
    theta = joint.estimate.theta
    static, kinetic = theta[0], float(form.mu(place, theta[1:], fit.reference)[0])
    slope = form.jacobian(place, theta[1:], fit.reference)
    gradient = np.concatenate([np.full((1, 1), 1.0 / static), -slope / kinetic], axis=1)
    half = float(joint.estimate.half_width(gradient)[0])
    value = static / kinetic
    low, high = value * np.exp(-half), value * np.exp(half)
    if low > 1.0:
        meaning = "sticks before it slips"
    elif high < 1.0:
        meaning = "breaks away below its kinetic friction"
    else:
        meaning = "shows no resolved step at breakaway"
    words = (
        f"{fit.group} {meaning}: static over kinetic {value:.3f} "
        f"({low:.3f} to {high:.3f}) at {condition_text(place)}"
    )
    u = value * float(np.sqrt(joint.estimate.variance(gradient)[0]))
    return Trait(fit.group, STATIC_KINETIC, float(value), u, float(low), float(high), words)


def _tested(fit: FrictionFit, reference: Reference) -> Conditions:
    """Return the reference condition, or the nearest inside the envelope."""
    return nearest([fit.envelope], at(reference)) or at(reference)
