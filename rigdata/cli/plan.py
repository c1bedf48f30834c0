"""``rigdata plan``: the tests of a campaign to come, and how good they will be."""

from __future__ import annotations

from collections import Counter
from importlib.resources import files
from pathlib import Path
from typing import Any

import click

from rigdata.cli.options import json_option
from rigdata.cli.terminal import aligned, paragraph, say, show_json
from rigdata.pipeline.stored import fits_from_folder, points_from_folder
from rigdata.planning.campaign_text import campaign_text
from rigdata.planning.description import read_request
from rigdata.planning.expected import Earlier
from rigdata.planning.plan import Option, Plan, make_plan
from rigdata.planning.precision import Predicted
from rigdata.planning.words import answer, basis_words, design_words, limit_words
from rigdata.report.run_sheet import run_sheet
from rigdata.storage.files import check_new, is_file, write_text

CAMPAIGN_FILE, SHEET_FILE = "campaign.toml", "run-sheet.html"


class PlanFile(click.Path):
    """A plan file that exists."""

    name = "plan.toml"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return its path."""
        path = Path(value)
        if not is_file(path):
            hint = "'rigdata plan --new plan.toml' writes one to fill in"
            self.fail(f"there is no file '{value}'; {hint}", param, ctx)
        return path


def _write_new(ctx: click.Context, _param: click.Parameter, value: Path | None) -> None:
    if value is None:
        return
    check_new([value])
    text = files("rigdata.planning").joinpath("plan.toml").read_text(encoding="utf-8")
    write_text(value, text)
    say(f"Wrote {value}. Fill it in, then: rigdata plan {value}")
    ctx.exit()


@click.command("plan")
@click.argument("plan_file", metavar="PLAN", type=PlanFile())
@click.option(
    "--like",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Results of an earlier campaign: its laws, scatter and errors are expected again.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help=f"Write {SHEET_FILE} and {CAMPAIGN_FILE} into this folder.",
)
@click.option("--force", is_flag=True, help="Replace these two files where they are there.")
@click.option(
    "--new",
    type=click.Path(dir_okay=False, path_type=Path),
    is_eager=True,
    expose_value=False,
    callback=_write_new,
    help="Write a plan file to fill in, and nothing else.",
)
@json_option
def command(
    plan_file: Path, like: Path | None, out: Path | None, force: bool, as_json: bool
) -> None:
    """Lay out the tests of a campaign to come and say how good they will be.

    PLAN is a TOML file that says what is to be found out: materials, reference,
    ranges, the difference to show. The tests are chosen for what they tell of the
    law, in an order that keeps drift apart from effects.

    \b
    rigdata plan --new plan.toml
    rigdata plan plan.toml --like earlier/results --out new-batch
    """
    targets = [out / name for name in (CAMPAIGN_FILE, SHEET_FILE)] if out is not None else []
    check_new(targets, force=force)
    plan = make_plan(read_request(plan_file), _earlier(like))
    if out is not None:
        texts = [campaign_text(plan, out), run_sheet(plan)]
        for target, text in zip(targets, texts, strict=True):
            write_text(target, text)
    if as_json:
        show_json("plan", (), **plan_row(plan), files=[str(target) for target in targets])
        return
    say(plan_text(plan))
    if out is not None:
        say(f"\nSheet to print: {targets[1]}\nCampaign:       {targets[0]}")
    else:
        say("\nNothing was written; --out FOLDER writes the run sheet and the campaign.")
    say(f"Try it first: rigdata example trial --plan {plan_file}")


def _earlier(folder: Path | None) -> Earlier | None:
    if folder is None:
        return None
    return Earlier(str(folder), points_from_folder(folder), fits_from_folder(folder).kinetic)


def plan_text(plan: Plan) -> str:
    """Return a plan as it stands on the terminal, the answer first."""
    tests = Counter((t.procedure, t.setting, f"{t.minutes:g}") for t in _of_a_pack(plan))
    rows = [[what, setting, str(n), each] for (what, setting, each), n in tests.items()]
    order = [f"day {day}: {', '.join(packs)}" for day, packs in _days(plan).items()]
    head = ["packs of each", "u of mu", "95 % interval", "difference shown", "hours"]
    options = [_option_cells(option, plan) for option in plan.options]
    words = [
        limit_words(plan),
        design_words(plan),
        *basis_words(plan),
        f"Order drawn with seed {plan.request.seed}.",
    ]
    return "\n".join(
        [
            paragraph(answer(plan)),
            "\nTests of each pack:",
            aligned(["procedure", "setting", "times", "min each"], rows),
            "\n" + aligned(head, options),
            "\n" + paragraph("Packs by day: " + "; ".join(order) + "."),
            "",
            *(paragraph(each, indent="  ") for each in words),
        ]
    )


def _of_a_pack(plan: Plan) -> list[Any]:
    runs = plan.blocks[0].runs
    return [run.test for run in sorted(runs, key=lambda run: _ORDER.index(run.test.procedure))]


_ORDER = ("zero", "drag", "bedding", "speed-sweep", "load-sweep", "temperature-sweep", "breakaway")


def _days(plan: Plan) -> dict[int, list[str]]:
    days: dict[int, list[str]] = {}
    for block in plan.blocks:
        days.setdefault(block.day, []).append(block.pack)
    return days


def _option_cells(option: Option, plan: Plan) -> list[str]:
    mark = " (planned)" if option is plan.taken else ""
    return [
        f"{option.packs}{mark}",
        f"{100 * max(mu.u for mu in option.mu):#.2g} %",
        f"+-{100 * option.half_width:#.2g} %",
        f"{100 * option.resolvable:#.2g} %" if option.ratios else "-",
        f"{option.hours:.0f}",
    ]


def plan_row(plan: Plan) -> dict[str, object]:
    """Return a plan as plain values, for JSON."""
    return {
        "name": plan.request.name,
        "answer": answer(plan),
        "seed": plan.request.seed,
        "packs_of_each": plan.taken.packs,
        "hours": plan.taken.hours,
        "days": plan.days,
        "d_efficiency": plan.efficiency,
        "candidates": plan.candidates,
        "expected": {label: known.basis for label, known in plan.known.items()},
        "options": [
            {
                "packs_of_each": option.packs,
                "hours": option.hours,
                "mu": [_predicted_row(mu) for mu in option.mu],
                "ratios": [_predicted_row(ratio) for ratio in option.ratios],
            }
            for option in plan.options
        ],
        "blocks": [
            {
                "pack": block.pack,
                "material": block.group.material,
                "batch": block.group.batch,
                "day": block.day,
                "minutes": block.minutes,
                "runs": [
                    {
                        "id": run.id,
                        "procedure": run.test.procedure,
                        "purpose": run.purpose,
                        "slip_speeds_m_s": list(run.test.slip_speeds_m_s),
                        "temperatures_c": list(run.test.temperatures_c),
                        "pressures_mpa": list(run.test.pressures_mpa),
                        "dwells_s": list(run.test.dwells_s),
                        "minutes": run.test.minutes,
                    }
                    for run in block.runs
                ],
            }
            for block in plan.blocks
        ],
    }


def _predicted_row(told: Predicted) -> dict[str, object]:
    return {
        "of": told.words,
        "relative_u": told.u,
        "relative_half_width": told.half_width,
        "resolvable": told.resolvable,
        "limited_by": told.budget.by_kind[0].cause,
    }
