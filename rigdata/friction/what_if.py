"""How much closer a number would be known after more tests, or with a better source.

Every answer comes from the covariance model of the fit itself, with points added
or a source made smaller, not from a rule of thumb.  Scatter is taken to stay
what it was found to be.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from rigdata.arrays import BoolArray, TextArray
from rigdata.friction.allowances import without_allowances
from rigdata.friction.budget import interval_of, quantity_of
from rigdata.friction.causes import MISFIT, PACKS, RANDOM, RUNS, SHAPE, Budget, kind_words
from rigdata.friction.conditions import Conditions
from rigdata.friction.design import Design, assemble
from rigdata.friction.nesting import numbered
from rigdata.friction.solution import Solution, solution_at
from rigdata.reduction.points import FrictionPoints, concatenate
from rigdata.uncertainty.degrees import coverage_factor, welch_satterthwaite
from rigdata.uncertainty.sources import Scope

_FOR_PACKS, _FOR_RUNS = (PACKS,), (RUNS, MISFIT, RANDOM, SHAPE)
_AS_LIMIT = {
    PACKS: "the spread between packs",
    RUNS: "the spread between runs",
    MISFIT: "the spread between points",
    RANDOM: "the noise of the readings",
    SHAPE: "how the surface bends between the points",
}
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


@dataclass(frozen=True)
class WhatIf:
    """What a number would be known to after a change.

    Attributes
    ----------
    change : str
        The change, in words.
    meets : tuple of str
        Kinds of cause that it is meant for.
    u, half_width : float
        Standard uncertainty then, and half the width of the 95 % interval; NaN
        where the tests made cannot tell.
    reason : str
        Why they cannot; empty otherwise.
    """

    change: str
    meets: tuple[str, ...]
    u: float
    half_width: float
    reason: str = ""


def what_ifs(
    solution: Solution, where: Conditions, budget: Budget, *, packs: int = 2, runs: int = 2
) -> tuple[WhatIf, ...]:
    """Return what more packs, more runs and the largest source halved would each bring.

    Parameters
    ----------
    solution : Solution
        Of one group, or of two for their ratio.
    where : Conditions
        One condition.
    budget : Budget
        Of the number there.
    packs, runs : int
        How many more packs, and how many more runs of each pack.
    """
    options = [more_packs(solution, where, packs), more_runs(solution, where, runs)]
    kind = _largest_source(budget)
    return (*options, source_halved(solution, where, kind)) if kind else tuple(options)


def point_what_ifs(budget: Budget) -> tuple[WhatIf, ...]:
    """Return what the largest source of a point halved would bring."""
    kind = _largest_source(budget)
    return (point_source_halved(budget, kind),) if kind else ()


def _largest_source(budget: Budget) -> str | None:
    named = {cause.kind for cause in budget.causes if cause.is_source}
    return next((share.cause for share in budget.by_kind if share.cause in named), None)


def source_halved(solution: Solution, where: Conditions, kind: str) -> WhatIf:
    """Return what is known of a number once all sources of one kind are half as large.

    Parameters
    ----------
    solution : Solution
        Of one group, or of two for their ratio.
    where : Conditions
        One condition.
    kind : str
        Kind of source in words, as in `Budget.by_kind`.
    """
    design = solution.design
    blocks = [replace(block, points=_halved(block.points, kind)) for block in design.blocks]
    smaller = assemble(blocks, design.reference)
    return _changed(_better(kind), (kind,), solution, smaller, where)


def _halved(points: FrictionPoints, kind: str) -> FrictionPoints:
    """Return some points with all their sources of one kind half as large."""
    half = [0.5 if kind_words(source.kind) == kind else 1.0 for source in points.sources]
    scale = sparse.diags_array(np.array(half))
    contributions, *shifts = (sparse.csr_array(matrix @ scale) for matrix in points.influences)
    return replace(points, contributions=contributions, condition_shifts=tuple(shifts))


def point_source_halved(budget: Budget, kind: str) -> WhatIf:
    """Return what is known of one point once all its sources of one kind are half as large."""
    causes = [
        replace(cause, effect=0.5 * cause.effect) if cause.kind == kind else cause
        for cause in budget.causes
    ]
    effects, freedoms = [c.effect for c in causes], [c.dof for c in causes]
    u = float(np.linalg.norm(effects))
    half = float(coverage_factor(welch_satterthwaite(effects, freedoms))) * u
    return WhatIf(_better(kind), (kind,), u, half)


def more_packs(solution: Solution, where: Conditions, count: int) -> WhatIf:
    """Return what is known of a number once `count` more packs of each group are tested.

    Parameters
    ----------
    solution : Solution
        Of one group, or of two for their ratio.
    where : Conditions
        One condition.
    count : int
        Packs to add, each tested as one of those at hand was.

    Notes
    -----
    A new pack brings its own radii, zeros, noise and scatter, and shares with the
    others what they share among themselves: calibration records, the radius law.
    With more packs their scatter is better known too, so that the interval
    shrinks faster than the standard uncertainty.
    """
    change = _counted(count, "pack")
    if len(solution.design.blocks) > 1:
        change += " of each"
    if any(numbered(block.points.pack)[1] < 2 for block in solution.design.blocks):
        reason = "only one pack was tested, so how packs differ is not known"
        return WhatIf(change, _FOR_PACKS, float("nan"), float("nan"), reason)
    return _with_more(change, _FOR_PACKS, solution, where, lambda p: _new_packs(p, count))


def more_runs(solution: Solution, where: Conditions, count: int) -> WhatIf:
    """Return what is known of a number once each pack is run `count` more times.

    The runs added are like those made, taken in turn.  Where no pack was run
    twice, how runs differ is part of how packs differ, and more runs show no gain.
    """
    change = f"{_counted(count, 'run')} of each pack"
    return _with_more(change, _FOR_RUNS, solution, where, lambda p: _new_runs(p, count))


def limiting_words(budget: Budget, options: Sequence[WhatIf]) -> str:
    """Say what limits a number, and what the change that meets it would bring.

    Parameters
    ----------
    budget : Budget
    options : sequence of WhatIf
        Changes to choose from, as `what_ifs` returns them; may be empty.
    """
    first = budget.by_kind[0]
    leading = next(cause for cause in budget.causes if cause.kind == first.cause)
    name = first.cause
    if name in _AS_LIMIT:
        name = _AS_LIMIT[name]
    else:
        name = f"the {name} ({leading.label.removeprefix(f'{name}: ')})"
    words = f"{name} limits this number ({100.0 * first.share:.0f} % of the variance)"
    words = words[0].upper() + words[1:]
    helps = next((option for option in options if first.cause in option.meets), None)
    if helps is None:
        return f"{words}."
    if not np.isfinite(helps.half_width):
        return f"{words}; {helps.reason}."
    before, after = (f"{size:#.2g}".rstrip(".") for size in (budget.half_width, helps.half_width))
    if before == after:
        return f"{words}; {helps.change} would leave its +-{before} as it is."
    return f"{words}; {helps.change} would bring its +-{before} to +-{after}."


def _better(kind: str) -> str:
    return f"knowing the {kind} twice as well"


def _changed(
    change: str, meets: tuple[str, ...], solution: Solution, design: Design, where: Conditions
) -> WhatIf:
    """Return what the parameters and scatter of `solution` give with another design."""
    known = solution.estimate.every_variance
    # A scatter that more tests would tell apart is, until then, part of a wider one.
    variances = np.array([known.get(name, 0.0) for name in design.unknown])
    then = solution_at(design, solution.estimate.theta, solution.free, variances)
    gradient = quantity_of(then, where)[1][None, :]
    u = float(np.sqrt(then.estimate.variance(gradient)[0]))
    low, high = interval_of(then, where)
    return WhatIf(change, meets, u, 0.5 * (high - low))


def _with_more(
    change: str,
    meets: tuple[str, ...],
    solution: Solution,
    where: Conditions,
    copies: Callable[[FrictionPoints], list[FrictionPoints]],
) -> WhatIf:
    blocks = [
        replace(block, points=concatenate([block.points, *copies(block.points)]))
        for block in solution.design.blocks
    ]
    design = assemble(blocks, solution.design.reference)
    return _changed(change, meets, solution, design, where)


def _new_packs(points: FrictionPoints, count: int) -> list[FrictionPoints]:
    packs = list(dict.fromkeys(points.pack.tolist()))
    reach = (Scope.PACK, Scope.RUN, Scope.POINT)
    return [
        _copy(points, points.pack == packs[i % len(packs)], f"+{i + 1}", reach, pack_too=True)
        for i in range(count)
    ]


def _new_runs(points: FrictionPoints, count: int) -> list[FrictionPoints]:
    copies = []
    for pack in dict.fromkeys(points.pack.tolist()):
        runs = list(dict.fromkeys(points.run[points.pack == pack].tolist()))
        for i in range(count):
            # Spread over those made, so that the first kind of test is not all that is added.
            run = runs[i * len(runs) // min(count, len(runs)) % len(runs)]
            copies.append(_copy(points, points.run == run, f"+{i + 1}", (Scope.RUN, Scope.POINT)))
    return copies


def _copy(
    points: FrictionPoints,
    mask: BoolArray,
    end: str,
    reach: tuple[Scope, ...],
    *,
    pack_too: bool = False,
) -> FrictionPoints:
    """Return some points as if tested anew, with errors of their own where those are theirs alone.

    Sources that other points share too stay shared, and so do those whose scope is
    not in `reach`.  No outlier is tested anew.
    """
    elsewhere = {source.id for source in points.select(~mask).sources}
    own = without_allowances(points.select(mask))
    sources = tuple(
        replace(source, id=source.id + end)
        if source.scope in reach and source.id not in elsewhere
        else source
        for source in own.sources
    )

    def renamed(names: TextArray) -> TextArray:
        return np.array([f"{name}{end}" for name in names.tolist()], dtype=np.str_)

    pack = renamed(own.pack) if pack_too else own.pack
    return replace(own, point=renamed(own.point), run=renamed(own.run), pack=pack, sources=sources)


def _counted(count: int, thing: str) -> str:
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    return f"{number} more {thing}{'s' if count > 1 else ''}"
