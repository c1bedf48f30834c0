"""A batch of plates against others of its material: is it like them, and could we tell?

Batches are compared by the levels of their packs.  Errors that all packs share, such as
those of one calibration record, cancel; the scatter between packs is pooled over the
batches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from rigdata.arrays import BoolArray, FloatArray
from rigdata.comparison.tolerance import two_sided_factor
from rigdata.comparison.verdict import (
    EQUIVALENT,
    HIGHER,
    LOWER,
    NOT_RESOLVED,
    equivalence_p,
    holm,
    two_sided_p,
    verdict,
)
from rigdata.errors import Notice, Severity
from rigdata.friction.columns import dense_columns
from rigdata.friction.estimate import Estimate
from rigdata.friction.linear_fit import linear_fit
from rigdata.friction.mixed_model import Component, MixedModel
from rigdata.friction.pack_levels import PackLevels

MARGIN = 0.02
POWER = 0.80
SHARE, CONFIDENCE = 0.90, 0.95  # of the tolerance interval for packs
_START_SD = 0.02
_MOST_PACKS = 500
_SETTLED = 1e-14


@dataclass(frozen=True)
class BatchCheck:
    """One batch against the others of its material and state.

    Attributes
    ----------
    material, state, batch : str
    against : tuple of str
        The batches that it is held against.
    n_packs, n_against : int
        Packs of each.
    ratio, low, high, u : float
        Mean of the batch over the mean of the others, its 95 % interval and
        relative standard uncertainty.
    pack_sd, dof : float
        Relative standard deviation between packs of one batch, pooled, and its
        degrees of freedom.
    batch_sd : float or None
        Between the batches that it is held against; None with fewer than three.
    p_different, p_equivalent : float
        By Holm over all batches checked together.
    verdict : str
        ``higher``, ``lower``, ``equivalent`` or ``not resolved``.
    margin : float
        Ratios within ``1 +- margin`` count as equivalent.
    tolerance : (low, high)
        Within these coefficients lie 90 % of the packs of the other batches,
        with confidence 95 %.
    outside : tuple of str
        Packs of the batch that lie outside.
    resolvable : float
        Smallest relative difference that these packs show four times in five.
    more_packs : int or None
        Packs to add to the batch, and as many to the others, for a verdict four
        times in five; None where there is one already, or 500 are not enough.
    words : str
        The result in one or two sentences.
    """

    material: str
    state: str
    batch: str
    against: tuple[str, ...]
    n_packs: int
    n_against: int
    ratio: float
    low: float
    high: float
    u: float
    pack_sd: float
    dof: float
    batch_sd: float | None
    p_different: float
    p_equivalent: float
    verdict: str
    margin: float
    tolerance: tuple[float, float]
    outside: tuple[str, ...]
    resolvable: float
    more_packs: int | None
    words: str


def check_batches(
    levels: PackLevels, *, reference: Sequence[str] = (), margin: float = MARGIN
) -> tuple[tuple[BatchCheck, ...], tuple[Notice, ...]]:
    """Hold every batch against the others of its material and state.

    Parameters
    ----------
    levels : PackLevels
        Packs of all batches, such as of several campaigns together.
    reference : sequence of str
        Batches that the others are held against; where none is named each batch is
        held against those of its material that stand before it.
    margin : float
        Ratios within ``1 +- margin`` count as equivalent.

    Returns
    -------
    tuple of BatchCheck, tuple of Notice
        Batches that cannot be checked are named in the notices.
    """
    found: list[BatchCheck] = []
    notices: list[Notice] = []
    kinds = zip(levels.material.tolist(), levels.state.tolist(), strict=True)
    for material, state in dict.fromkeys(kinds):
        own = levels.select((levels.material == material) & (levels.state == state))
        batches = list(dict.fromkeys(own.batch.tolist()))
        for i, batch in enumerate(batches):
            if batch in reference:
                continue
            others = [b for b in batches if b in reference] if reference else batches[:i]
            if not others:
                continue
            both = own.select(np.isin(own.batch, [batch, *others]))
            if len(both) - 1 - len(others) < 1:
                what = "no batch has two packs, so what packs differ by is not known"
                where = f"{material} ({state}), batch {batch}"
                notices.append(
                    Notice(Severity.LEFT_OUT, where, what, "Test at least two packs of a batch")
                )
                continue
            found.append(_checked(both, batch, others, margin))
    different = holm([check.p_different for check in found])
    equivalent = holm([check.p_equivalent for check in found])
    judged = (
        _judged(check, float(p), float(q))
        for check, p, q in zip(found, different, equivalent, strict=True)
    )
    return tuple(judged), tuple(notices)


def _checked(levels: PackLevels, batch: str, others: list[str], margin: float) -> BatchCheck:
    """Return the comparison of one batch, its verdict not yet corrected for the others."""
    mine = levels.batch == batch
    estimate = _estimate(levels, mine, others)
    gradient = np.array([[1.0, 0.0]])
    log_ratio = float(estimate.theta[0])

    def half_width(level: float) -> float:
        return float(estimate.half_width(gradient, level=level)[0])

    half, u = half_width(0.95), float(np.sqrt(estimate.covariance[0, 0]))
    i = estimate.components.index("pack")
    spread, dof = float(np.sqrt(estimate.mean_square[i])), float(estimate.dof[i])
    n, n_against = int(np.sum(mine)), int(np.sum(~mine))
    middle = float(estimate.theta[1])
    k = two_sided_factor(n_against, dof, SHARE, CONFIDENCE)
    low, high = np.exp(middle - k * spread), np.exp(middle + k * spread)
    outside = levels.pack[mine & ((levels.mu < low) | (levels.mu > high))]
    return BatchCheck(
        material=str(levels.material[0]),
        state=str(levels.state[0]),
        batch=batch,
        against=tuple(others),
        n_packs=n,
        n_against=n_against,
        ratio=float(np.exp(log_ratio)),
        low=float(np.exp(log_ratio - half)),
        high=float(np.exp(log_ratio + half)),
        u=u,
        pack_sd=spread,
        dof=dof,
        batch_sd=_sd(estimate, "batch"),
        p_different=two_sided_p(half_width, abs(log_ratio)),
        p_equivalent=equivalence_p(
            half_width, log_ratio, float(np.log1p(-margin)), float(np.log1p(margin))
        ),
        verdict=NOT_RESOLVED,
        margin=margin,
        tolerance=(float(low), float(high)),
        outside=tuple(outside.tolist()),
        resolvable=_resolvable(u, dof),
        more_packs=_more_packs(log_ratio, (u, spread), (n, n_against), margin),
        words="",
    )


def _estimate(levels: PackLevels, mine: BoolArray, others: list[str]) -> Estimate:
    """Return ln of the ratio, then the mean ln mu of the other batches."""
    components, effects = [], []
    if len(others) > 2:
        components.append(Component("batch"))
        effects.append(np.array([levels.batch == name for name in others], dtype=np.float64).T)
    components.append(Component("pack", weights=np.ones(len(levels))))
    middle = float(np.mean(np.log(levels.mu)))
    model = MixedModel(
        residual=np.log(levels.mu) - middle,
        design=np.column_stack([mine, np.ones(len(levels))]).astype(np.float64),
        diagonal=levels.u_random**2,
        columns=dense_columns(levels.shared, *effects),
        components=tuple(components),
    )
    start: FloatArray = np.full(len(components), _START_SD**2)
    estimate, _ = linear_fit(model, start, tolerance=_SETTLED)
    return replace(estimate, theta=estimate.theta + np.array([0.0, middle]))


def _sd(estimate: Estimate, component: str) -> float | None:
    if component not in estimate.components:
        return None
    return float(np.sqrt(estimate.variances[estimate.components.index(component)]))


def _resolvable(u: float, dof: float) -> float:
    """Return the difference that a two-sided test at 5 % finds with the power stated."""
    return float((stats.t.ppf(0.975, dof) + stats.t.ppf(POWER, dof)) * u)


def _more_packs(
    log_ratio: float, errors: tuple[float, float], counts: tuple[int, int], margin: float
) -> int | None:
    """Return how many packs to add to either side until the true state of things would show.

    Were the difference found the true one, either a test for a difference or one
    for equivalence must succeed with the power stated.  What does not come from the
    spread between packs (of `errors` in the ratio and between packs), such as
    different rigs or batches that differ, stays as it is.
    """
    gap, (now, spread) = abs(log_ratio), errors
    kept = max(now**2 - spread**2 * (1.0 / counts[0] + 1.0 / counts[1]), 0.0)
    for more in range(1, _MOST_PACKS + 1):
        sizes = counts[0] + more, counts[1] + more
        u = float(np.sqrt(spread**2 * (1.0 / sizes[0] + 1.0 / sizes[1]) + kept))
        dof = sizes[0] + sizes[1] - 2
        edge = float(stats.t.ppf(0.975, dof))
        away = stats.nct.sf(edge, dof, gap / u) + stats.nct.cdf(-edge, dof, gap / u)
        inside = stats.nct.sf(stats.t.ppf(0.95, dof), dof, (np.log1p(margin) - gap) / u)
        if max(float(away), float(inside)) >= POWER:
            return more
    return None


def _judged(check: BatchCheck, p_different: float, p_equivalent: float) -> BatchCheck:
    """Return the check with corrected p values, its verdict and its words."""
    outcome = verdict(check.ratio, p_different, p_equivalent)
    more = check.more_packs if outcome == NOT_RESOLVED else None
    done = replace(
        check,
        p_different=p_different,
        p_equivalent=p_equivalent,
        verdict=outcome,
        more_packs=more,
    )
    return replace(done, words=_words(done))


def _words(check: BatchCheck) -> str:
    ends = f"{_percent(check.low)} to {_percent(check.high)}"
    found = f"{_percent(check.ratio)} (95 % interval {ends})"
    name = f"{check.material} ({check.state}), batch {check.batch}"
    against = ", ".join(check.against)
    if check.verdict in (HIGHER, LOWER):
        ends = " to ".join(
            sorted((f"{100 * abs(end - 1.0):.1f}" for end in (check.low, check.high)), key=float)
        )
        by = f"{100 * abs(check.ratio - 1.0):.1f} % (95 % interval {ends} %)"
        text = f"{name} is {check.verdict} than {against} by {by}"
    elif check.verdict == EQUIVALENT:
        text = f"{name} is like {against} within {100 * check.margin:g} %: {found}"
    else:
        text = f"{name} against {against} is not resolved: {found}"
        if check.more_packs is not None:
            text += f"; test {check.more_packs} more packs of each"
        else:
            text += f"; more than {_MOST_PACKS} packs of each would be needed"
        text += f" ({check.n_packs} and {check.n_against} show {100 * check.resolvable:.1f} %)"
    if check.outside:
        low, high = check.tolerance
        text += (
            f". Outside what {100 * SHARE:.0f} % of the packs of {against} reach "
            f"({low:.4f} to {high:.4f}): {', '.join(check.outside)}"
        )
    return text


def _percent(ratio: float) -> str:
    return f"{100 * (ratio - 1.0):+.1f} %"
