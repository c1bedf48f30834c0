"""A plan: the tests, their order, and the precision that they will give."""

from __future__ import annotations

import bisect
import datetime
import functools
import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.errors import CampaignError
from rigdata.planning.blocks import (
    REFERENCES,
    Block,
    block_minutes,
    laid_out,
    programme,
    reference_run,
)
from rigdata.planning.candidates import PlannedTest, candidates
from rigdata.planning.description import MOST_PACKS, Request
from rigdata.planning.expected import Earlier, Expected, expected
from rigdata.planning.optimal import exact_design
from rigdata.planning.precision import (
    Predicted,
    information,
    points_at,
    precision_of_mu,
    precision_of_ratio,
    shown,
)

_LEAST_PACKS = 2
_MORE = 2  # options shown beyond the packs taken
_WEEKEND = 5  # number of Saturday


@dataclass(frozen=True, eq=False)
class Option:
    """What so many packs of each group will tell.

    Attributes
    ----------
    packs : int
        Of each group.
    mu, ratios : tuple of Predicted
        Each group at the reference; each other group against the first.
    hours : float
        At the rig, for all of them. [h]
    """

    packs: int
    mu: tuple[Predicted, ...]
    ratios: tuple[Predicted, ...]
    hours: float

    @property
    def resolvable(self) -> float:
        """The worst of the differences that show; NaN where nothing is compared."""
        return max((ratio.resolvable for ratio in self.ratios), default=float("nan"))

    @property
    def half_width(self) -> float:
        """The widest half of a 95 % interval of mu, relative to mu."""
        return max(mu.half_width for mu in self.mu)


@dataclass(frozen=True, eq=False)
class Plan:
    """All that is decided.

    Attributes
    ----------
    request : Request
    known : mapping of group label to Expected
    chosen : tuple of PlannedTest
        Tests of each pack beside zero, drag, bedding, reference and breakaway.
    efficiency : float
        Their D-efficiency against the best continuous design over the same candidates.
    candidates : int
        How many tests there were to choose from.
    blocks : tuple of Block
        Packs in order, with their runs.
    taken : Option
        What is planned.
    options : tuple of Option
        Fewer and more packs for comparison, `taken` among them.
    """

    request: Request
    known: Mapping[str, Expected]
    chosen: tuple[PlannedTest, ...]
    efficiency: float
    candidates: int
    blocks: tuple[Block, ...]
    taken: Option
    options: tuple[Option, ...]

    @property
    def hidden(self) -> tuple[str, ...]:
        """What the law has that tests over such ranges cannot show, in words."""
        law = next(iter(self.known.values())).law
        free = shown(law, points_at(programme(self.request, self.chosen)))
        return tuple(p.meaning for p, seen in zip(law.parameters, free, strict=True) if not seen)

    @property
    def days(self) -> int:
        """Days at the rig."""
        return self.blocks[-1].day

    @property
    def dates(self) -> tuple[datetime.date, ...]:
        """The day of the calendar of each day, weekends left out; none without a first day."""
        first = self.request.first_day
        if first is None:
            return ()
        every = (first + datetime.timedelta(days=k) for k in itertools.count())
        working = (day for day in every if day == first or day.weekday() < _WEEKEND)
        return tuple(itertools.islice(working, self.days))


def make_plan(request: Request, earlier: Earlier | None = None) -> Plan:
    """Return the plan that answers a request.

    Raises
    ------
    CampaignError
        When no number of packs up to the most reaches the aim, the tests are too few for
        the law, or a pack takes longer than a day.
    FitError
        When the law asked for cannot be planned for.
    """
    known = {group.label: expected(request, group.material, earlier) for group in request.groups}
    offered = candidates(request.region, request.reference, request.minutes)
    chosen, efficiency = _chosen(request, known[request.groups[0].label], offered)

    @functools.cache
    def option(packs: int) -> Option:
        return _option(request, known, chosen, packs)

    count = request.packs or bisect.bisect_left(
        range(MOST_PACKS + 1), True, lo=_LEAST_PACKS, key=lambda n: _meets(request, option(n))
    )
    if count > MOST_PACKS:
        raise _out_of_reach(request, option(MOST_PACKS))
    around = range(max(count - 1, _LEAST_PACKS), count + _MORE + 1)
    options = tuple(option(packs) for packs in around)
    blocks = laid_out(request, chosen, count)
    return Plan(request, known, chosen, efficiency, len(offered), blocks, option(count), options)


def _chosen(
    request: Request, known: Expected, offered: tuple[PlannedTest, ...]
) -> tuple[tuple[PlannedTest, ...], float]:
    """Return the tests of a pack that tell most in their time, and their D-efficiency."""
    fixed = reference_run(request)
    free = shown(known.law, points_at([*offered, fixed]))
    each = information(known, [*offered, fixed], request.reference, free)
    cost = np.array([test.minutes for test in offered])
    rng = np.random.default_rng(request.seed)
    anyway = (REFERENCES * each[-1], REFERENCES * fixed.minutes)
    design = exact_design(each[:-1], cost, request.tests, rng, anyway)
    if not np.isfinite(design.log_det):
        raise CampaignError(
            f"{request.tests} tests of a pack do not show all that the {known.law.name} law has",
            where=f"{request.path.name}, tests",
            do="Ask for more tests, or for a law with fewer parameters",
        )
    count = design.count.astype(int).tolist()
    tests = [test for test, n in zip(offered, count, strict=True) for _ in range(n)]
    return tuple(tests), design.efficiency


def _option(
    request: Request, known: Mapping[str, Expected], chosen: tuple[PlannedTest, ...], packs: int
) -> Option:
    tests, where = programme(request, chosen), request.reference
    ratios = request.ratios
    return Option(
        packs,
        tuple(precision_of_mu(name, one, tests, packs, where) for name, one in known.items()),
        tuple(
            precision_of_ratio(
                {group.label: known[group.label] for group in pair},
                tests,
                packs,
                where,
                power=request.power_percent / 100.0,
                comparisons=len(ratios),
            )
            for pair in ratios
        ),
        packs * len(request.groups) * block_minutes(request, chosen) / 60.0,
    )


def _meets(request: Request, option: Option) -> bool:
    wide = request.precision_percent
    gap = request.resolve_percent
    return (wide is None or option.half_width <= wide / 100.0) and (
        gap is None or option.resolvable <= gap / 100.0
    )


def _out_of_reach(request: Request, option: Option) -> CampaignError:
    reached, asked, worst = [], [], option.mu
    if request.resolve_percent is not None:
        reached.append(f"show a difference of {100 * option.resolvable:.2g} %")
        asked.append(f"resolve_percent = {request.resolve_percent:g}")
        worst = option.ratios
    if request.precision_percent is not None:
        reached.append(f"give mu within {100 * option.half_width:.2g} %")
        asked.append(f"precision_percent = {request.precision_percent:g}")
    limit = max(worst, key=lambda told: told.u).budget.by_kind[0]
    return CampaignError(
        f"even {option.packs} packs of each {' and '.join(reached)} at best",
        where=request.path.name,
        expected=" and ".join(asked),
        do=f"The {limit.cause} limits it ({100 * limit.share:.0f} % of the variance): ask for "
        "less, or better that first",
    )
