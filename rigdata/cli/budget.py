"""``rigdata budget``: which cause limits a number, and what would help."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from rigdata.cli.budget_words import account_row, account_text, draws_text, overview
from rigdata.cli.engine_options import workers_option
from rigdata.cli.options import CampaignPath, cache_option, json_option
from rigdata.cli.terminal import finish, progress, say, show_json, show_notices
from rigdata.engines.engine import Engine
from rigdata.errors import Notice, Severity
from rigdata.figures.budget import cause_bars
from rigdata.figures.svg import svg_file
from rigdata.friction.conditions import Conditions
from rigdata.pipeline.budgets import (
    Account,
    account_by_draws,
    account_of_point,
    accounts_of_fits,
    accounts_of_ratios,
    campaign_of,
)
from rigdata.storage.files import write_text
from rigdata.uncertainty.monte_carlo import LinearTest

_LEAST_DRAWS = 10_000


def _condition(
    ctx: click.Context, param: click.Parameter, value: str | None
) -> tuple[float, float, float] | None:
    """Return the slip speed (or dwell), temperature and pressure that ``v,T,p`` names."""
    if value is None:
        return None
    try:
        first, temperature, pressure = (float(part) for part in value.split(","))
    except ValueError:
        first = temperature = pressure = math.nan
    if not (first > 0.0 and pressure > 0.0 and math.isfinite(temperature)):
        raise click.BadParameter(
            f"'{value}' is no condition. Give slip speed in m/s (with --static dwell in s), "
            "temperature in degC and pressure in MPa, as in 0.1,90,1.5",
            ctx,
            param,
        )
    return first, temperature, pressure


class SvgPath(click.Path):
    """A file to write, whose name ends in .svg."""

    name = "file.svg"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path."""
        path = Path(value)
        if path.suffix.casefold() != ".svg":
            self.fail(f"'{value}' does not end in .svg, and that is what is written", param, ctx)
        return path


@click.command("budget")
@click.argument("results", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--material", help="Material; all of them unless told otherwise.")
@click.option("--state", help="State of wear: new, bedded or worn.")
@click.option(
    "--at",
    "place",
    metavar="v,T,p",
    callback=_condition,
    help="Condition in m/s, degC and MPa, as 0.1,90,1.5; the reference unless told otherwise. "
    "With --static the first is the dwell in s.",
)
@click.option("--static", is_flag=True, help="The static coefficient, at breakaway.")
@click.option("--point", metavar="POINT", help="One friction point, as R004/3.")
@click.option("--ratio", is_flag=True, help="The ratio to the material it is compared with.")
@click.option(
    "--monte-carlo",
    "draws",
    type=click.IntRange(_LEAST_DRAWS, 10_000_000),
    metavar="N",
    help="Check the linear budget with N draws, 200000 say.",
)
@click.option(
    "--campaign",
    type=CampaignPath(),
    help="Campaign of these results, for --monte-carlo; found beside them unless told otherwise.",
)
@click.option("--figure", type=SvgPath(), help="Draw the shares into this file too.")
@cache_option
@workers_option
@json_option
def command(
    results: Path,
    draws: int | None,
    campaign: Path | None,
    figure: Path | None,
    cache: bool,
    engine: Engine,
    as_json: bool,
    **asked: Any,
) -> None:
    """Show which causes limit a number of RESULTS, and what would help.

    RESULTS is a results folder. The number is the mean coefficient of a material
    and state, its ratio to the one it is compared with (--ratio), or one point
    (--point). With --static it is the static coefficient instead of the kinetic one.
    """
    accounts = _accounts(results, **asked)
    single = accounts[0] if len(accounts) == 1 else None
    if single is None and (draws or figure):
        raise click.UsageError(
            "--monte-carlo and --figure are for one number: choose it with --material and --state, "
            "or with --point"
        )
    test = None
    if single is not None and draws:
        with progress(quiet=as_json) as show:
            source = campaign_of(results, campaign)
            test = account_by_draws(
                single, source, draws, progress=show, cache=cache, engine=engine
            )
    if single is not None and figure:
        picture = cause_bars(single.budget)
        write_text(
            figure, svg_file(picture, title=single.budget.quantity, description=single.words)
        )
    notices = _notices(accounts, test)
    if as_json:
        rows = [account_row(account, test) for account in accounts]
        show_json("budget", notices, folder=str(results), budgets=rows)
    else:
        say(account_text(single) if single is not None else overview(accounts))
        if single is not None and test is not None:
            say("\n" + draws_text(single, test))
        show_notices(notices)
    finish(notices)


def _accounts(
    results: Path,
    *,
    material: str | None,
    state: str | None,
    place: tuple[float, float, float] | None,
    static: bool,
    point: str | None,
    ratio: bool,
) -> Sequence[Account]:
    if point is not None:
        if material or state or place or ratio or static:
            raise click.UsageError("--point stands alone: a point has its material and condition")
        return [account_of_point(results, point)]
    where = None
    if place is not None:
        first, temperature, pressure = place
        rest = Conditions(0.0, temperature, pressure, first)
        where = rest if static else Conditions(first, temperature, pressure)
    if ratio:
        if static:
            raise click.UsageError("--ratio is of kinetic coefficients: leave --static out")
        return list(accounts_of_ratios(results, where, material=material, state=state).values())
    found = accounts_of_fits(results, where, material=material, state=state, static=static)
    return list(found.values())


def _notices(accounts: Sequence[Account], test: LinearTest | None) -> list[Notice]:
    notices = [
        Notice(
            Severity.WARNING,
            account.budget.quantity,
            "not tested at this condition: drawn out from the law",
            "Choose a condition inside the tests.",
        )
        for account in accounts
        if not account.inside
    ]
    if test is not None and not test.passed[0] and test.settled[0]:
        what = "the linear budget does not pass its test; use the Monte Carlo interval"
        notices.append(Notice(Severity.WARNING, accounts[0].budget.quantity, what))
    return notices
