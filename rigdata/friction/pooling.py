"""Scatter of several groups taken together, where nothing speaks against it.

Two or three packs tell little of how packs differ.  Where several materials were
tested alike and their scatter, relative to mu, is the same, one estimate with the
degrees of freedom of all of them serves each.  Whether it is the same is tested,
kind by kind; but few packs show only gross differences, so a test that finds
nothing is no proof, and each test says what it could have seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import ReferenceCondition
from rigdata.friction.design import Block, Design, assemble
from rigdata.friction.estimate import LEVELS, CommonScatter, Estimate, kind_of
from rigdata.friction.solution import solution_at
from rigdata.friction.variance_components import restricted_variances

AGAINST = 0.05  # p below which a test speaks against a common scatter
POWER = 0.80
WORDS = {"pack": "packs", "run": "runs", "misfit": "points"}
_GAIN = 1e-8  # in log likelihood at which a maximum counts as reached


@dataclass(frozen=True)
class PoolTest:
    """Whether one kind of scatter may be the same in several groups.

    Attributes
    ----------
    kind : str
        ``pack``, ``run`` or ``misfit``.
    groups : tuple of str
        The groups held against each other.
    own, own_dof : tuple of float
        Standard deviation of each relative to mu, and its degrees of freedom.
    common, common_dof : float
        The same of all together.
    statistic, p : float
        Twice the loss in restricted log likelihood by a common scatter, corrected,
        and the chance of as large a loss where the scatter is the same.
    seen : float
        Ratio of two spreads that the test finds four times in five.
    """

    kind: str
    groups: tuple[str, ...]
    own: tuple[float, ...]
    own_dof: tuple[float, ...]
    common: float
    common_dof: float
    statistic: float
    p: float
    seen: float

    @property
    def speaks_against(self) -> bool:
        """Whether the scatter of the groups differs, as far as the test shows."""
        return self.p < AGAINST

    @property
    def chance(self) -> str:
        """The p value in short."""
        return "p < 0.001" if self.p < 0.001 else f"p = {self.p:.2g}"


@dataclass(frozen=True)
class Quoted:
    """Intervals at the reference condition, with one choice of the scatter.

    Attributes
    ----------
    mu : float
        Coefficient of the material's mean.
    mean_low, mean_high, next_pack_low, next_pack_high, next_run_low, next_run_high : float
        As in `Prediction`.
    """

    mu: float
    mean_low: float
    mean_high: float
    next_pack_low: float
    next_pack_high: float
    next_run_low: float
    next_run_high: float


@dataclass(frozen=True)
class Pooling:
    """What pooling does to one group, and whether it was done.

    Attributes
    ----------
    tests : tuple of PoolTest
        One for each kind of scatter that groups have in common.
    common : tuple of CommonScatter
        What the tests do not speak against, from all groups.
    used : bool
        Whether the fit rests on it; else on the group's own scatter.
    own, pooled : Quoted
        Intervals at the reference condition with either; `pooled` is None where
        nothing is common.
    """

    tests: tuple[PoolTest, ...]
    common: tuple[CommonScatter, ...]
    used: bool
    own: Quoted
    pooled: Quoted | None = None

    @property
    def used_words(self) -> str:
        """What is common and why, in words."""
        kinds = {part.kind for part in self.common}
        done = [test for test in self.tests if test.kind in kinds]
        chances = ", ".join(f"{WORDS[test.kind]} {test.chance}" for test in done)
        seen = listed([f"{test.seen:.2g}" for test in done])
        return (
            f"scatter between {listed([WORDS[test.kind] for test in done])} taken from "
            f"{len(done[0].groups)} groups together: the tests do not speak against it "
            f"({chances}), but four times in five they find only spreads {seen} times apart"
        )

    @property
    def kept_words(self) -> list[str]:
        """Which scatter each group keeps for itself and why, in words."""
        return [
            f"scatter between {WORDS[test.kind]} not taken from {len(test.groups)} groups "
            f"together: the test speaks against its being equal ({test.chance})"
            for test in self.tests
            if test.speaks_against
        ]


def pooling_to_dict(pooling: Pooling | None) -> dict[str, Any] | None:
    """Return the choice of the scatter as plain values for JSON."""
    return None if pooling is None else asdict(pooling)


def pooling_from_dict(data: Mapping[str, Any] | None) -> Pooling | None:
    """Return what `pooling_to_dict` described."""
    if data is None:
        return None
    lists = ("groups", "own", "own_dof")
    tests = [{**test, **{name: tuple(test[name]) for name in lists}} for test in data["tests"]]
    return Pooling(
        tests=tuple(PoolTest(**test) for test in tests),
        common=tuple(CommonScatter(**part) for part in data["common"]),
        used=data["used"],
        own=Quoted(**data["own"]),
        pooled=None if data["pooled"] is None else Quoted(**data["pooled"]),
    )


def alike(estimates: Sequence[Estimate]) -> list[int]:
    """Return which groups may be pooled: those whose layouts tell the same kinds apart.

    A spread between packs that were run once each holds that between runs too, so
    it is held against others of its sort only.  The sort that most groups are of is
    taken, the richer one of two.
    """
    sorts = [tuple(kind_of(name) for name in estimate.components) for estimate in estimates]
    counts = Counter(sort for sort in sorts if "pack" in sort)
    if not counts:
        return []
    chosen = max(counts, key=lambda sort: (counts[sort], len(sort)))
    return [i for i, sort in enumerate(sorts) if sort == chosen]


def pool(
    blocks: Sequence[Block], estimates: Sequence[Estimate], reference: ReferenceCondition
) -> tuple[tuple[PoolTest, ...], tuple[CommonScatter, ...]]:
    """Test every kind of scatter of some groups, and return what is common to them.

    Parameters
    ----------
    blocks : sequence of Block
        Two groups or more that are `alike`.
    estimates : sequence of Estimate
        Of each alone.
    reference : Reference
        Condition that the parameters refer to.

    Returns
    -------
    tuple of PoolTest, tuple of CommonScatter
        A test for each kind, and the kinds that no test speaks against, found
        together from all groups.

    Notes
    -----
    All groups stand in one restricted likelihood, so that sources which they share
    are shared, with each law linearised at its own fit.  Twice the loss in log
    likelihood by one common variance is that of Bartlett's test of equal variances
    where effects are alike; it is divided by his
    ``1 + (sum 1/nu_i - 1/sum nu_i) / (3 (k - 1))`` and held against chi-square of
    ``k - 1`` degrees of freedom.  That keeps the level with two degrees of freedom a
    group (M. S. Bartlett, Proc. R. Soc. A 160 (1937) 268, from memory; the tests
    hold it against his statistic).
    """
    theta = np.concatenate([estimate.theta for estimate in estimates])
    apart = _maximum(blocks, estimates, theta, reference, ())
    tests = []
    for kind in LEVELS:
        own = [i for i, name in enumerate(apart.estimate.components) if kind_of(name) == kind]
        if not own:
            continue
        together = _maximum(blocks, estimates, theta, reference, (kind,))
        place = together.estimate.components.index(kind)
        dof = apart.estimate.dof[own]
        loss = max(2.0 * (apart.restricted - together.restricted), 0.0)
        statistic = loss / bartlett(dof)
        tests.append(
            PoolTest(
                kind=kind,
                groups=tuple(block.label for block in blocks),
                own=tuple(np.sqrt(apart.estimate.variances[own]).tolist()),
                own_dof=tuple(dof.tolist()),
                common=float(np.sqrt(together.estimate.variances[place])),
                common_dof=float(together.estimate.dof[place]),
                statistic=float(statistic),
                p=float(stats.chi2.sf(statistic, len(own) - 1)),
                seen=seen(dof),
            )
        )
    kinds = tuple(test.kind for test in tests if not test.speaks_against)
    if not kinds:
        return tuple(tests), ()
    last = _maximum(blocks, estimates, theta, reference, kinds).estimate
    places = [(kind, last.components.index(kind)) for kind in kinds]
    common = (CommonScatter(k, float(last.variances[i]), float(last.dof[i])) for k, i in places)
    return tuple(tests), tuple(common)


def bartlett(dof: FloatArray) -> float:
    """Return the factor by which a likelihood ratio of k equal variances is too large."""
    least = np.maximum(dof, 1.0)
    return float(1.0 + (np.sum(1.0 / least) - 1.0 / np.sum(least)) / (3.0 * (len(least) - 1)))


def seen(dof: FloatArray) -> float:
    """Return the ratio of two spreads that a test at 5 % finds four times in five.

    That of the group with the fewest degrees of freedom to the others together, by
    the F test, ``sqrt(F(0.975; a, b) F(0.8; b, a))``.
    """
    least = np.maximum(dof, 1.0)
    few = float(least.min())
    others = float(least.sum() - few)
    limit = stats.f.ppf(1.0 - 0.5 * AGAINST, few, others)
    return float(np.sqrt(limit * stats.f.ppf(POWER, others, few)))


@dataclass(frozen=True, eq=False)
class _Maximum:
    """Where the restricted likelihood of all groups is greatest, and how great it is."""

    estimate: Estimate
    restricted: float


def listed(words: Sequence[str]) -> str:
    """Return words as ``a, b and c``."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def _maximum(
    blocks: Sequence[Block],
    estimates: Sequence[Estimate],
    theta: FloatArray,
    reference: ReferenceCondition,
    kinds: Sequence[str],
) -> _Maximum:
    """Return the maximum with `kinds` of scatter in common."""
    common = tuple(CommonScatter(kind) for kind in kinds)
    design = assemble([replace(block, common=common) for block in blocks], reference)
    free = np.concatenate([np.diag(estimate.covariance) > 0.0 for estimate in estimates])
    start = _start(design, estimates)
    variances, at, _ = restricted_variances(design.linearised(theta, free), start, tolerance=_GAIN)
    return _Maximum(solution_at(design, theta, free, variances).estimate, at.restricted)


def _start(design: Design, estimates: Sequence[Estimate]) -> FloatArray:
    """Return each group's own variances, or the mean of those of a common one."""
    found = []
    for effect in design.effects:
        kind, _, number = effect.name.partition(" ")
        among = [estimates[int(number)]] if number else estimates
        own = [e.variances[e.components.index(kind)] for e in among]
        found.append(float(np.mean(own)))
    return np.concatenate([found, *(estimate.smoothing for estimate in estimates)])
