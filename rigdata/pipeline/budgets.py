"""Uncertainty budgets of the numbers in a results folder, with Monte Carlo where asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.comparison.pair_fits import fit_pair
from rigdata.comparison.ratios_file import read_ratios
from rigdata.engines.engine import Engine, alone
from rigdata.errors import ResultError
from rigdata.friction.budget import (
    fit_solution,
    joint_solution,
    point_budget,
    solution_budget,
)
from rigdata.friction.causes import Budget
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.fit import split
from rigdata.friction.monte_carlo import draw_quantity
from rigdata.friction.results import Group
from rigdata.friction.solution import Solution
from rigdata.friction.what_if import WhatIf, limiting_words, point_what_ifs, what_ifs
from rigdata.pipeline.folder import (
    COMPARISON_FILE,
    cache_of,
    campaign_file,
    check_untouched,
    read_manifest,
)
from rigdata.pipeline.stored import fits_from_folder, points_from_folder
from rigdata.reduction.monte_carlo import draw_points
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reading import Reading
from rigdata.reduction.reduce import reduce_campaign
from rigdata.steps import Progress
from rigdata.storage.files import sha256
from rigdata.uncertainty.monte_carlo import LinearTest

_SAME = 1e-9  # relative difference of points of one and the same reduction


@dataclass(frozen=True, eq=False)
class Account:
    """The budget of one number and what goes with it.

    Attributes
    ----------
    budget : Budget
    options : tuple of WhatIf
        What more tests or a better source would bring.
    points : FrictionPoints
        The points that it rests on.
    solution : Solution or None
        What it follows from; None for a single point.
    where : Conditions or None
        Its condition; None for a single point.
    inside : bool
        Whether that condition was tested.
    """

    budget: Budget
    options: tuple[WhatIf, ...]
    points: FrictionPoints
    solution: Solution | None = None
    where: Conditions | None = None
    inside: bool = True

    @property
    def words(self) -> str:
        """What limits the number, in words."""
        return limiting_words(self.budget, self.options)


def account_of_point(folder: Path, name: str) -> Account:
    """Return the budget of one friction point of a results folder.

    Raises
    ------
    ResultError
        When the folder holds no points, or no point of that name.
    """
    points = points_from_folder(folder)
    budget = point_budget(points, name)
    return Account(budget, point_what_ifs(budget), points.select(points.point == name))


def accounts_of_fits(
    folder: Path,
    where: Conditions | None = None,
    *,
    material: str | None = None,
    state: str | None = None,
    static: bool = False,
) -> dict[Group, Account]:
    """Return the budget of the mean coefficient of each group asked for.

    Parameters
    ----------
    folder : Path
        Results folder with points and fits.
    where : Conditions, optional
        One condition; the reference condition by default.
    material, state : str, optional
        Groups to keep; all by default.
    static : bool
        The static coefficient instead of the kinetic one.

    Raises
    ------
    ResultError
        When the folder lacks points or fits, or there is no such group.
    """
    points, both = points_from_folder(folder), fits_from_folder(folder)
    fits = both.static if static else both.kinetic
    found = {}
    for group in _asked(list(fits), material, state, folder):
        reference = fits[group].reference
        place = at(reference) if where is None else where.after(reference.dwell_s)
        solution = fit_solution(points, fits[group])
        found[group] = _account(solution, place, bool(fits[group].envelope.contains(place)[0]))
    return found


def accounts_of_ratios(
    folder: Path,
    where: Conditions | None = None,
    *,
    material: str | None = None,
    state: str | None = None,
) -> dict[tuple[Group, Group], Account]:
    """Return the budget of each comparison asked for, by its two groups.

    Parameters
    ----------
    folder : Path
        Results folder with points, fits and comparison.
    where : Conditions, optional
        One condition; that which the comparison quotes by default.
    material, state : str, optional
        Of the first of the two groups; all comparisons by default.

    Raises
    ------
    ResultError
        When the folder lacks a file, or there is no such comparison.
    """
    points, fits = points_from_folder(folder), fits_from_folder(folder).kinetic
    own = split(points, "kinetic")
    check_untouched(folder, COMPARISON_FILE)
    ratios = read_ratios(folder / COMPARISON_FILE)
    kept = _asked([ratio.group for ratio in ratios], material, state, folder)
    found = {}
    for ratio in ratios:
        if ratio.group not in kept:
            continue
        place = where if where is not None else ratio.conditions.select(np.array([0]))
        solution = joint_solution(fit_pair(own, fits, ratio.group, ratio.against))
        inside = all(fits[g].envelope.contains(place)[0] for g in (ratio.group, ratio.against))
        found[ratio.group, ratio.against] = _account(solution, place, inside)
    return found


def account_by_draws(
    account: Account,
    campaign: Campaign,
    draws: int,
    *,
    progress: Progress | None = None,
    cache: bool = True,
    engine: Engine = alone,
) -> LinearTest:
    """Return a number by Monte Carlo, and the test of its linear budget.

    Parameters
    ----------
    account : Account
    campaign : Campaign
        That the results come from; its logs are reduced again.
    draws : int
        Draws of every cause.
    progress : callable, optional
        Told each run before it is read.

    Raises
    ------
    ResultError
        When the campaign gives other points than the results hold.
    """
    reduction = reduce_campaign(
        campaign, progress=progress, cache=cache_of(campaign, wanted=cache), engine=engine
    )
    _check_same(account.points, reduction.points, campaign)
    return _drawn(account, reduction.readings, draws)


def campaign_of(folder: Path, given: Path | None = None) -> Campaign:
    """Return the campaign that a results folder comes from.

    Parameters
    ----------
    folder : Path
        The results folder.
    given : Path, optional
        The campaign, where it is not where it was when the results were made.

    Raises
    ------
    ResultError
        When none is given and that of the results is not where it was, or has
        changed since.
    """
    if given is not None:
        return read_campaign(given)
    found = campaign_file(folder, do="Name it with --campaign.")
    digests = [e["sha256"] for e in read_manifest(folder)["inputs"] if e["role"] == "campaign"]
    if sha256(found) not in digests:
        raise ResultError(
            f"{found.name} has changed since these results were made",
            where=str(folder),
            do="Run 'rigdata run' again, or name the campaign with --campaign.",
        )
    return read_campaign(found)


def _account(solution: Solution, where: Conditions, inside: bool) -> Account:
    budget = solution_budget(solution, where)
    options = what_ifs(solution, where, budget)
    return Account(budget, options, solution.points, solution, where, inside)


def _asked(
    groups: list[Group], material: str | None, state: str | None, folder: Path
) -> list[Group]:
    kept = [
        group
        for group in dict.fromkeys(groups)
        if material in (None, group.material) and state in (None, group.state)
    ]
    if not kept:
        wanted = " ".join(text for text in (material, f"({state})" if state else None) if text)
        raise ResultError(
            f"there is no {wanted or 'group'} in these results",
            where=str(folder),
            expected=", ".join(str(group) for group in dict.fromkeys(groups)) or "a fitted group",
        )
    return kept


def _drawn(account: Account, readings: Mapping[str, Reading], draws: int) -> LinearTest:
    if account.solution is None or account.where is None:
        return draw_points(account.points, readings, draws=draws).test
    return draw_quantity(account.solution, account.where, readings, draws=draws)


def _check_same(points: FrictionPoints, again: FrictionPoints, campaign: Campaign) -> None:
    place = {name: i for i, name in enumerate(again.point.tolist())}
    rows = [place.get(name, -1) for name in points.point.tolist()]
    if min(rows) < 0 or not np.allclose(again.mu[rows], points.mu, rtol=_SAME, atol=0.0):
        raise ResultError(
            "the campaign gives other points than these results hold",
            where=str(campaign.path),
            expected="the campaign and the version of rigdata that the results were made with",
            do="Run 'rigdata run' again.",
        )
