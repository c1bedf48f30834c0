"""Traits beside the level of mu, each measured on two groups at once.

A trait is one entry in `TRAITS`: its name and unit, what more and less of it mean,
and a function that measures it on a pair.  Where the two share errors, the function
takes both from one joint fit, so that the errors cancel from the difference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray
from rigdata.bedding.results import TimeToBed
from rigdata.comparison.trait_kinds import Measured, Side, TraitKind, TraitPair
from rigdata.comparison.traits import SPEED_SLOPE, STATIC_KINETIC, breakaway_fit, step_of
from rigdata.comparison.verdict import two_sided_p
from rigdata.errors import ComparisonError
from rigdata.friction.conditions import (
    ALL_AXES,
    LEAST_PRESSURE_RATIO,
    LEAST_TEMPERATURE_SPAN_K,
    ReferenceCondition,
    at,
)
from rigdata.friction.envelope import nearest
from rigdata.friction.estimate import Estimate
from rigdata.friction.fit import split
from rigdata.friction.laws.base import Law
from rigdata.friction.pooling import POWER
from rigdata.friction.results import FrictionFit
from rigdata.friction.slopes import (
    DOUBLING,
    FADE_K,
    change_of_law,
    follows,
    slope_of_law,
    tested_ends,
)

_PERCENT = 100.0


def of_estimate(
    estimate: Estimate, values: tuple[float, float], gradients: tuple[FloatArray, FloatArray]
) -> Measured:
    """Return a trait that follows from the parameters of one joint fit.

    Parameters
    ----------
    estimate : Estimate
        All P parameters.
    values : (float, float)
        The trait of either group.
    gradients : two (P,) arrays
        Its derivatives by all parameters; their difference is that of the difference,
        so what both have in common cancels.

    Notes
    -----
    To find a difference four times in five at 5 % takes its half width at 95 % and, on
    one side, that at 80 % more.
    """
    rows = np.stack([*gradients, gradients[0] - gradients[1]])
    difference = values[0] - values[1]
    half, u = estimate.half_width(rows), np.sqrt(estimate.variance(rows))
    one, other, apart = (
        Side(value, float(sd), float(value - reach), float(value + reach))
        for value, sd, reach in zip((*values, difference), u, half, strict=True)
    )

    def half_width(level: float) -> float:
        return float(estimate.half_width(rows[2:], level=level)[0])

    p = two_sided_p(half_width, abs(difference))
    detectable = half_width(0.95) + half_width(2.0 * POWER - 1.0)
    return Measured(one, other, apart, p, detectable)


def _speed_slope(pair: TraitPair) -> Measured:
    """``dmu/dv`` at the quoted condition. [s/m]"""
    _check_followed(pair, 0)
    where = pair.fitted.place

    def measure(
        law: Law, theta: FloatArray, reference: ReferenceCondition
    ) -> tuple[float, FloatArray]:
        value, slope = slope_of_law(law, theta, reference, where)
        return float(value[0]), slope[0]

    return _of_laws(pair, measure)


def _fade(pair: TraitPair) -> Measured:
    """Change of mu per 100 K, the mean over the temperatures tested on both. [%]"""
    return _change(pair, 1, FADE_K, LEAST_TEMPERATURE_SPAN_K)


def _pressure(pair: TraitPair) -> Measured:
    """Change of mu per doubling of the face pressure, likewise. [%]"""
    return _change(pair, 2, DOUBLING, float(np.log(LEAST_PRESSURE_RATIO)))


def _change(pair: TraitPair, axis: int, step: float, least: float) -> Measured:
    _check_followed(pair, axis)
    envelopes = [fit.envelope for fit in pair.fitted.fits]
    ends, span = tested_ends(envelopes, pair.fitted.place, axis) or (None, 0.0)
    if ends is None or span < least:
        raise ComparisonError(f"{_named(axis)} was varied too little on both together")

    def measure(
        law: Law, theta: FloatArray, reference: ReferenceCondition
    ) -> tuple[float, FloatArray]:
        change, slope = change_of_law(law, theta, reference, ends)
        factor = float(np.exp(change * step / span))
        return _PERCENT * (factor - 1.0), _PERCENT * factor * slope * step / span

    return _of_laws(pair, measure)


def _of_laws(
    pair: TraitPair,
    measure: Callable[[Law, FloatArray, ReferenceCondition], tuple[float, FloatArray]],
) -> Measured:
    """Return what `measure` finds of each law of a joint fit."""
    design, estimate = pair.fitted.joint.design, pair.fitted.joint.estimate
    values, gradients = [], []
    for block, part in zip(design.blocks, design.columns, strict=True):
        value, slope = measure(block.law, estimate.theta[part], design.reference)
        gradient = np.zeros(estimate.theta.size)
        gradient[part] = slope
        values.append(value)
        gradients.append(gradient)
    return of_estimate(estimate, (values[0], values[1]), (gradients[0], gradients[1]))


def _check_followed(pair: TraitPair, axis: int) -> None:
    """Raise ComparisonError where the law of one of the two does not move along an axis."""
    for fit in pair.fitted.fits:
        if not follows(fit, ALL_AXES[axis]):
            raise ComparisonError(
                f"the {fit.law} law taken for {fit.group} does not follow {_named(axis)}"
            )


def _named(axis: int) -> str:
    return ("slip speed", "temperature", "pressure")[axis]


def _static_kinetic(pair: TraitPair) -> Measured:
    """Static over kinetic coefficient, both groups at one condition as near as was tested."""
    groups = pair.groups
    for group in groups:
        if group not in pair.static:
            raise ComparisonError(f"there is no static coefficient of {group}")
    own, rest_of = split(pair.points, "kinetic"), split(pair.points, "static")
    both = [(pair.static[g], fit) for g, fit in zip(groups, pair.fitted.fits, strict=True)]
    at_rest = [static.envelope for static, _ in both]
    if at_rest[0].axes != at_rest[1].axes:
        raise ComparisonError("the dwell of breakaways is known of one of them alone")
    rest = nearest(at_rest, at(both[0][0].reference))
    if rest is None:
        raise ComparisonError("no condition of breakaway was tested on both")
    wanted = replace(rest, slip_speed_m_s=pair.fitted.place.slip_speed_m_s)
    slip = nearest([kinetic.envelope for _, kinetic in both], wanted)
    assert slip is not None  # the quoted condition lies in both
    joint = breakaway_fit([(rest_of[g], own[g]) for g in groups], both)
    (one, first), (other, second) = (step_of(joint, i, rest, slip) for i in (0, 1))
    return of_estimate(joint.estimate, (one, other), (one * first, other * second))


def of_mean_squares(first: tuple[float, float], second: tuple[float, float]) -> Measured:
    """Return two spreads compared as a ratio.

    Parameters
    ----------
    first, second : (mean square, degrees of freedom)
        Relative to mu squared; the spread is the root, in percent.

    Notes
    -----
    ``nu s^2 / sigma^2`` is chi-square with nu degrees of freedom, and the ratio of two
    mean squares over that of their expectations is F.  The factor found four times in
    five is the larger of ``sqrt(F(0.975; a, b) F(0.8; b, a))`` and the same turned.
    """
    (one, a), (other, b) = first, second
    ratio = one / other
    low, high = ratio / stats.f.ppf(0.975, a, b), ratio * stats.f.ppf(0.975, b, a)
    p = 2.0 * min(float(stats.f.sf(ratio, a, b)), float(stats.f.cdf(ratio, a, b)))
    u = float(np.sqrt(ratio * (0.5 / a + 0.5 / b)))
    over = Side(float(np.sqrt(ratio)), u, float(np.sqrt(low)), float(np.sqrt(high)))
    either = (stats.f.ppf(0.975, i, j) * stats.f.ppf(POWER, j, i) for i, j in ((a, b), (b, a)))
    return Measured(_spread(one, a), _spread(other, b), over, p, float(np.sqrt(max(either))))


def _spread(square: float, dof: float) -> Side:
    value = _PERCENT * float(np.sqrt(square))
    low, high = np.sqrt(dof / stats.chi2.ppf([0.975, 0.025], dof)).tolist()
    return Side(value, value / float(np.sqrt(2.0 * dof)), value * low, value * high)


def _pack_spread(pair: TraitPair) -> Measured:
    """Spread of packs as these tests show it: scatter between packs, and what lies within. [%]

    What runs and readings add to the level of a pack is part of it.
    """
    first, second = (_mean_square(fit) for fit in pair.fitted.fits)
    return of_mean_squares(first, second)


def _mean_square(fit: FrictionFit) -> tuple[float, float]:
    """Return the packs' mean square relative to mu squared, and its degrees of freedom."""
    estimate, pooling = fit.estimate, fit.pooling
    if "pack" not in estimate.components:
        raise ComparisonError(f"one pack alone was tested of {fit.group}")
    if pooling is not None and pooling.used and "pack" in {c.kind for c in pooling.common}:
        raise ComparisonError("their scatter between packs was taken from all groups together")
    i = estimate.components.index("pack")
    return float(estimate.mean_square[i]), max(float(estimate.dof[i]), 1.0)


def _time_to_bed(pair: TraitPair) -> Measured:
    """Sliding work over the area of the faces from which on packs are steady. [J/mm2]"""
    missing = [group for group in pair.groups if group not in pair.bedding]
    if missing:
        raise ComparisonError(f"no pack of {missing[0]} was seen to bed in")
    alone = [group for group in pair.groups if pair.bedding[group].n_packs < 2]
    if alone:
        raise ComparisonError(f"one pack alone of {alone[0]} was seen to bed in")
    return of_times_to_bed(*(pair.bedding[group] for group in pair.groups))


def of_times_to_bed(first: TimeToBed, second: TimeToBed) -> Measured:
    """Return two works to bed in compared as a ratio.

    Notes
    -----
    The logarithm of each has Student's t with its packs less 1 degrees of freedom, that
    of the ratio with those of Welch and Satterthwaite.
    """
    sides, variances, dofs = [], [], []
    for one in (first, second):
        scale = one.work_j_mm2 / one.work_to_bed_kj
        dof = one.n_packs - 1.0
        u = float(np.log(one.high / one.low) / (2.0 * stats.t.ppf(0.975, dof)))
        ends = (one.low * scale, one.high * scale)
        sides.append(Side(one.work_j_mm2, u * one.work_j_mm2, *ends))
        variances.append(u**2)
        dofs.append(dof)
    variance = sum(variances)
    dof = variance**2 / sum(v**2 / d for v, d in zip(variances, dofs, strict=True))
    u, log = float(np.sqrt(variance)), float(np.log(first.work_j_mm2 / second.work_j_mm2))
    reach = float(stats.t.ppf(0.975, dof)) * u
    ratio = float(np.exp(log))
    over = Side(ratio, ratio * u, float(np.exp(log - reach)), float(np.exp(log + reach)))
    p = 2.0 * float(stats.t.sf(abs(log) / u, dof))
    detectable = float(np.exp(reach + stats.t.ppf(POWER, dof) * u))
    return Measured(sides[0], sides[1], over, p, detectable)


TRAITS = (
    TraitKind(
        SPEED_SLOPE,
        "s/m",
        "dmu/dv [s/m]",
        "less prone to chatter",
        "more prone to chatter",
        _speed_slope,
    ),
    TraitKind(
        STATIC_KINETIC,
        "1",
        STATIC_KINETIC,
        "a larger step at breakaway",
        "a smaller step at breakaway",
        _static_kinetic,
    ),
    TraitKind("change of mu per 100 K", "%", "per 100 K [%]", "fades less", "fades more", _fade),
    TraitKind(
        "change of mu, doubled pressure",
        "%",
        "doubled p [%]",
        "loses less under load",
        "loses more under load",
        _pressure,
    ),
    TraitKind(
        "spread of packs",
        "%",
        "packs, % (A/B)",
        "packs differ more",
        "packs differ less",
        _pack_spread,
        neutral=1.0,
    ),
    TraitKind(
        "sliding work to bed in",
        "J/mm2",
        "bed in [J/mm2]",
        "beds in later",
        "beds in sooner",
        _time_to_bed,
        neutral=1.0,
    ),
)
