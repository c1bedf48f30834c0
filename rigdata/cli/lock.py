"""``rigdata lock``: from coefficient tables to the lock of a differential and its setup."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import click

from rigdata.cli.lock_views import OVERVIEW, VIEWS, Question, drawn_setups
from rigdata.cli.lock_words import CAUTION
from rigdata.cli.options import json_option
from rigdata.cli.terminal import LEFT_SOMETHING_OUT, paragraph, say, show_json
from rigdata.lockup.description import read_lock_pack
from rigdata.storage.files import is_folder
from rigdata.tables.read import read_table
from rigdata.tables.table import CoefficientTable

_TABLE_HINT = "give that of one material and state, such as results/tables/rough/new"


class TableFolder(click.ParamType[CoefficientTable]):
    """The folder of one coefficient table."""

    name = "folder"

    def convert(self, value: Any, param: Any, ctx: Any) -> CoefficientTable:
        """Return the table."""
        if not is_folder(Path(value)):
            self.fail(f"there is no folder '{value}'; {_TABLE_HINT}", param, ctx)
        return read_table(value)


class Numbers(click.ParamType[tuple[float, ...]]):
    """Numbers with commas between them."""

    name = "numbers"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[float, ...]:
        """Return the numbers."""
        if isinstance(value, tuple):
            return value
        try:
            return tuple(float(part) for part in str(value).split(","))
        except ValueError:
            hint = "numbers with commas between them, such as 100,200,400"
            self.fail(f"'{value}' is not {hint}", param, ctx)


@click.command("lock")
@click.argument("pack", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--table", type=TableFolder(), required=True, help="Table of the plates in the pack.")
@click.option("--against", type=TableFolder(), multiple=True, help="Table of other plates.")
@click.option(
    "--show",
    type=click.Choice(list(VIEWS)),
    default=OVERVIEW,
    show_default=True,
    help="; ".join(f"{name}: {view.words}" for name, view in VIEWS.items()) + ".",
)
@click.option("--torque", type=Numbers(), help="Into the case, in N m; one or several.")
@click.option("--temperature", type=Numbers(), help="Of the plates, in degC; one or several.")
@click.option("--rpm", type=Numbers(), help="Between the outputs, in 1/min; one or several.")
@click.option("--coast", is_flag=True, help="On the coast ramps.")
@click.option("--breakaway", type=click.FloatRange(1.0), help="Torque wanted on the bench, N m.")
@click.option("--seconds", type=click.FloatRange(0.1, 3600.0), default=10.0, show_default=True)
@click.option("--cooling", type=click.FloatRange(0.0), default=0.0, help="Heat going off, in W/K.")
@click.option(
    "--figure",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Draw lock torque against input torque into this .svg, .png or .pdf.",
)
@json_option
def command(
    pack: Path,
    table: CoefficientTable,
    against: tuple[CoefficientTable, ...],
    show: str,
    torque: tuple[float, ...] | None,
    temperature: tuple[float, ...] | None,
    rpm: tuple[float, ...] | None,
    coast: bool,
    breakaway: float | None,
    seconds: float,
    cooling: float,
    figure: Path | None,
    as_json: bool,
) -> None:
    """Work out what the clutch pack of a differential locks with, and what its setup must be.

    PACK is a TOML file that describes the pack: plates, preload, ramps. Friction
    comes from the folders of coefficient tables that 'rigdata tables' wrote. With
    --against the overview answers which preload keeps the lock with other plates.

    \b
    rigdata lock differential.toml --table results/tables/steel/new \\
        --against results/tables/rough/new
    rigdata lock differential.toml --table results/tables/rough/new \\
        --show breakaway --breakaway 120
    """
    asked = Question(
        pack=read_lock_pack(pack),
        table=table,
        others=against,
        torques=torque,
        temperatures=temperature,
        rpms=rpm,
        coast=coast,
        breakaway_nm=breakaway,
        seconds=seconds,
        cooling_w_k=cooling,
    )
    answer = VIEWS[show].of(asked)
    if figure is not None:
        _draw(asked, figure)
    if as_json:
        show_json(f"lock-{show}", (), pack=asked.pack.name, caution=CAUTION, **answer.content)
    else:
        say(answer.text)
        for line in answer.missing:
            say(paragraph(f"not tested: {line}"), err=True)
        say(paragraph(CAUTION), err=True)
    if answer.missing:
        click.get_current_context().exit(LEFT_SOMETHING_OUT)


def _draw(asked: Question, path: Path) -> None:
    # Only now, because matplotlib loads slowly.
    lock, files = (importlib.import_module(f"rigdata.figures.{name}") for name in ("lock", "files"))
    setups = drawn_setups(asked)
    drawing = lock.lock_figure(setups, asked.temperature, max(asked.several_torques))
    files.save_figure(
        drawing,
        path,
        title=f"Lock torque of {asked.pack.name}",
        description="Lock torque against input torque on drive and on coast: " + "; ".join(setups),
    )
