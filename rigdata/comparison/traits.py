"""Traits beside the level of mu: its slope over slip speed and the static-to-kinetic ratio.

A coefficient that falls with slip speed, or a static one well above the
kinetic, lets a clutch pack stick and slip (chatter).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Reference
from rigdata.comparison.verdict import condition_text
from rigdata.errors import FitError
from rigdata.friction.conditions import DWELL, Conditions, at
from rigdata.friction.envelope import nearest
from rigdata.friction.fit import split
from rigdata.friction.joint import JointFit, joint_fit
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
    """Return the static coefficient over the kinetic one at the reference condition.

    Each at the nearest condition to it that was tested, and both at one temperature
    and pressure where they can be; the static one after the dwell of its reference.
    Both are fitted together, so that shared errors cancel.  The scatter of one
    pack's static and kinetic coefficients is taken to be independent, which
    makes the interval, if anything, too wide.
    """
    own, at_rest = split(points, "kinetic"), split(points, "static")
    found = []
    for group, rest in static.items():
        if group in kinetic:
            try:
                joint = breakaway_fit([(at_rest[group], own[group])], [(rest, kinetic[group])])
            except FitError:
                continue
            found.append(_static_ratio(joint, (rest, kinetic[group]), reference))
    return tuple(found)


def breakaway_fit(
    points: Sequence[tuple[FrictionPoints, FrictionPoints]],
    fits: Sequence[tuple[FrictionFit, FrictionFit]],
) -> JointFit:
    """Fit the static and the kinetic points of one or more groups together.

    Parameters
    ----------
    points, fits : sequence of pairs
        The static and the kinetic points of each group, and their fits.

    Raises
    ------
    FitError
        When no joint fit was found.
    """
    blocks = [
        fit.block(own, f"{fit.group}{kind}")
        for pair, both in zip(points, fits, strict=True)
        for kind, own, fit in zip((", static", ""), pair, both, strict=True)
    ]
    start = np.concatenate([fit.theta for both in fits for fit in both])
    return joint_fit(blocks, fits[0][1].reference, [start])


def step_of(
    joint: JointFit, i: int, rest: Conditions, slip: Conditions
) -> tuple[float, FloatArray]:
    """Return static over kinetic of the i-th group of a `breakaway_fit`.

    With the derivatives (P,) of its logarithm by all parameters; `rest` is where the
    static and `slip` where the kinetic coefficient is taken.
    """
    design, theta = joint.design, joint.estimate.theta
    log_ratio, gradient = 0.0, np.zeros(theta.size)
    for sign, place, j in ((1.0, rest, 2 * i), (-1.0, slip, 2 * i + 1)):
        law, part = design.blocks[j].law, design.columns[j]
        curve = float(law.mu(place, theta[part], design.reference)[0])
        slope = law.jacobian(place, theta[part], design.reference)[0]
        gradient[part] = sign * slope / curve
        log_ratio += sign * float(np.log(curve))
    return float(np.exp(log_ratio)), gradient


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
    joint: JointFit, fits: tuple[FrictionFit, FrictionFit], reference: Reference
) -> Trait:
    """Return the ratio of a static to a kinetic fit."""
    static, kinetic = fits
    group = kinetic.group
    rest = _tested(static, static.reference)
    slip = replace(rest, slip_speed_m_s=np.array([reference.slip_speed_m_s]))
    slip = nearest([kinetic.envelope], slip) or slip
    value, gradient = step_of(joint, 0, rest, slip)
    half = float(joint.estimate.half_width(gradient[None, :])[0])
    low, high = value * np.exp(-half), value * np.exp(half)
    if low > 1.0:
        meaning = "sticks before it slips"
    elif high < 1.0:
        meaning = "breaks away below its kinetic friction"
    else:
        meaning = "shows no resolved step at breakaway"
    where = f"{condition_text(slip)}{_rest_words(static, rest, slip)}"
    words = (
        f"{group} {meaning}: static over kinetic {value:.3f} ({low:.3f} to {high:.3f}) at {where}"
    )
    u = value * float(np.sqrt(joint.estimate.variance(gradient[None, :])[0]))
    return Trait(group, STATIC_KINETIC, float(value), u, float(low), float(high), words)


def _rest_words(static: FrictionFit, rest: Conditions, slip: Conditions) -> str:
    """Say of the static coefficient what is not said by the condition of the kinetic one."""
    words = f", after {float(rest.dwell_s[0]):.2g} s at rest" if follows(static, DWELL) else ""
    if static.envelope.contains(
        replace(slip, slip_speed_m_s=rest.slip_speed_m_s, dwell_s=rest.dwell_s)
    )[0]:
        return words
    at_rest = condition_text(rest).partition(", ")[2]
    return f"{words}; breakaway was tested no nearer than {at_rest}"


def _tested(fit: FrictionFit, reference: Reference) -> Conditions:
    """Return the reference condition, or the nearest inside the envelope."""
    return nearest([fit.envelope], at(reference)) or at(reference)
