"""Materials and states as ratios of mu, in which shared errors cancel.

Each pair of groups is fitted together, sources with one id being one source.
The ratio ``exp(ln mu_A - ln mu_B)`` then loses by itself what both have in
common: a calibration that is 1 % off moves both, and not their ratio.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.campaign.campaign import Reference
from rigdata.comparison.band import simultaneous_level
from rigdata.comparison.calibration_share import (
    CalibrationShare,
    calibration_share,
    calibration_words,
)
from rigdata.comparison.pair_fits import PairFit, fit_pairs
from rigdata.comparison.pairs import pairs, quoted_place, with_grid
from rigdata.comparison.verdict import (
    NOT_RESOLVED,
    equivalence_p,
    holm,
    sentence,
    two_sided_p,
    verdict,
)
from rigdata.errors import ComparisonError, Notice, Severity
from rigdata.friction.conditions import Conditions
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints

MARGIN = 0.05
ARRAYS = (
    "ratio",
    "low",
    "high",
    "band_low",
    "band_high",
    "u_ratio",
    "u_unshared",
    "u_group",
    "u_against",
)


@dataclass(frozen=True, eq=False)
class Ratio:
    """The coefficient of one group over that of another.

    The first of the k conditions is the quoted one; then come cold and hot at its slip
    speed and pressure, and a grid over the region in which both groups were tested.

    Attributes
    ----------
    group, against : Group
        Numerator and denominator.
    conditions : Conditions
        Where, k of them.
    named : tuple of str
        What the first of them are: ``quoted``, then ``cold`` and ``hot`` as far as tested.
    ratio, low, high : (k,) float
        The ratio and its 95 % interval, not corrected for several comparisons.
    band_low, band_high : (k,) float
        Ends of the band that holds the ratio at all k conditions at once, 95 %.
    u_ratio : (k,) float
        Standard uncertainty of the ratio.
    u_unshared : (k,) float
        What it would be if nothing cancelled.
    u_group, u_against : (k,) float
        Relative standard uncertainty of each coefficient alone.
    p_different, p_equivalent : float
        Of the quoted ratio being 1, and of its lying outside the margin; by
        Holm over all comparisons made together.
    verdict : str
        ``higher``, ``lower``, ``equivalent`` or ``not resolved``.
    margin : float
        Ratios within ``1 +- margin`` count as equivalent.
    words : str
        The verdict in one sentence.
    calibration : CalibrationShare
        What the rig's calibration adds to the variance of the quoted ratio.
    notices : tuple of Notice
        Such as a quoted condition that is not the reference.
    """

    group: Group
    against: Group
    conditions: Conditions
    named: tuple[str, ...]
    ratio: FloatArray
    low: FloatArray
    high: FloatArray
    band_low: FloatArray
    band_high: FloatArray
    u_ratio: FloatArray
    u_unshared: FloatArray
    u_group: FloatArray
    u_against: FloatArray
    p_different: float
    p_equivalent: float
    verdict: str
    margin: float
    words: str
    calibration: CalibrationShare
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        for name in ARRAYS:
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def cancelled(self) -> FloatArray:
        """(k,) share of the variance that the two have in common and that cancels."""
        share: FloatArray = np.maximum(1.0 - (self.u_ratio / self.u_unshared) ** 2, 0.0)
        return share


def compare_groups(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    *,
    baseline: str,
    reference: Reference,
    margin: float = MARGIN,
) -> tuple[Ratio, ...]:
    """Compare each material with the baseline, and each state with the new one.

    Parameters
    ----------
    points : FrictionPoints
        What was fitted.
    fits : mapping of Group to FrictionFit
        Their laws, from `fit_campaign`.
    baseline : str
        Material that the others are compared with, in the same state.
    reference : Reference
        Condition to quote; the nearest that both were tested at where it was not.
    margin : float
        Ratios within ``1 +- margin`` count as equivalent, between 0 and 1.

    Returns
    -------
    tuple of Ratio
        Pairs that cannot be compared are left out: `comparison_notices` says why.

    Raises
    ------
    ComparisonError
        When `margin` is out of range or no pair can be compared.
    """
    pairs = fit_pairs(points, fits, baseline=baseline, reference=reference)
    return ratios_of(pairs, margin=margin)


def ratios_of(pairs: Sequence[PairFit], *, margin: float = MARGIN) -> tuple[Ratio, ...]:
    """Return the ratio of each pair and its verdict, corrected for all made together.

    Raises
    ------
    ComparisonError
        When `margin` is out of range.
    """
    if not 0.0 < margin < 1.0:
        raise ComparisonError(f"a margin of {margin:g} has no meaning", expected="0 < margin < 1")
    found = [_ratio(pair, margin) for pair in pairs]
    different = holm([ratio.p_different for ratio in found])
    equivalent = holm([ratio.p_equivalent for ratio in found])
    return tuple(
        _judged(ratio, float(p), float(q))
        for ratio, p, q in zip(found, different, equivalent, strict=True)
    )


def comparison_notices(
    ratios: Sequence[Ratio],
    fits: Mapping[Group, FrictionFit],
    *,
    baseline: str,
    reference: Reference,
) -> tuple[Notice, ...]:
    """Return what the user must know of the comparisons, those left out and why included."""
    done = {(ratio.group, ratio.against) for ratio in ratios}
    notices = [notice for ratio in ratios for notice in ratio.notices]
    for group in fits:
        against = Group(baseline, group.state)
        if group.material != baseline and against not in fits:
            why = f"not compared with the baseline: there is no fit of {against}"
            do = f"Test {baseline} in the state {group.state}"
            notices.append(Notice(Severity.LEFT_OUT, str(group), why, do))
    for group, against in pairs(fits, baseline):
        if (group, against) in done:
            continue
        apart = quoted_place(fits, group, against, reference)[0] is None
        why = "no condition was tested on both" if apart else "no joint fit was found"
        do = "Test both at the reference condition"
        told = f"not compared with {against}: {why}"
        notices.append(Notice(Severity.LEFT_OUT, str(group), told, do))
    return tuple(notices)


def _ratio(pair: PairFit, margin: float) -> Ratio:
    """Return the ratio of a joint fit, its verdict not yet corrected for other comparisons."""
    joint = pair.joint
    where, named = with_grid(pair.place, *(fit.envelope for fit in pair.fits))
    curves, gradient = [], np.zeros((len(where), joint.estimate.theta.size))
    for sign, block, part in zip(
        (1.0, -1.0), joint.design.blocks, joint.design.columns, strict=True
    ):
        theta = joint.estimate.theta[part]
        curve = block.law.mu(where, theta, joint.design.reference)
        slope = block.law.jacobian(where, theta, joint.design.reference)
        gradient[:, part] = sign * slope / curve[:, None]
        curves.append(curve)
    ratio = curves[0] / curves[1]
    u = np.sqrt(joint.estimate.variance(gradient))
    alone = []
    for part in joint.design.columns:
        single = np.zeros_like(gradient)
        single[:, part] = gradient[:, part]
        alone.append(np.sqrt(joint.estimate.variance(single)))

    def half_width(level: float) -> float:
        return float(joint.estimate.half_width(gradient[:1], level=level)[0])

    half = joint.estimate.half_width(gradient)
    everywhere = simultaneous_level(gradient, joint.estimate.covariance)
    band = joint.estimate.half_width(gradient, level=everywhere)
    log_ratio = float(np.log(ratio[0]))
    return Ratio(
        group=pair.group,
        against=pair.against,
        conditions=where,
        named=named,
        ratio=ratio,
        low=ratio * np.exp(-half),
        high=ratio * np.exp(half),
        band_low=ratio * np.exp(-band),
        band_high=ratio * np.exp(band),
        u_ratio=ratio * u,
        u_unshared=ratio * np.hypot(*alone),
        u_group=alone[0],
        u_against=alone[1],
        p_different=two_sided_p(half_width, abs(log_ratio)),
        p_equivalent=equivalence_p(
            half_width, log_ratio, float(np.log1p(-margin)), float(np.log1p(margin))
        ),
        verdict=NOT_RESOLVED,
        margin=margin,
        words="",
        calibration=calibration_share(joint, gradient[0]),
        notices=pair.notices,
    )


def _judged(ratio: Ratio, p_different: float, p_equivalent: float) -> Ratio:
    """Return the ratio with corrected p values, its verdict and its sentence."""
    outcome = verdict(float(ratio.ratio[0]), p_different, p_equivalent)
    interval = (float(ratio.ratio[0]), float(ratio.low[0]), float(ratio.high[0]))
    place = ratio.conditions.select(np.array([0]))
    words = sentence(str(ratio.group), str(ratio.against), outcome, interval, ratio.margin, place)
    return replace(
        ratio, p_different=p_different, p_equivalent=p_equivalent, verdict=outcome, words=words
    )


def calibration_said(ratios: Iterable[Ratio]) -> dict[str, list[str]]:
    """Return what is said of the rig's calibration, with the ratios of which it is said."""
    told: dict[str, list[str]] = {}
    for ratio in ratios:
        names = told.setdefault(calibration_words(ratio.calibration), [])
        names.append(f"{ratio.group} over {ratio.against}")
    return told
