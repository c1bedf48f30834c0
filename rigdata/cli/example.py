"""``rigdata example``: the demo campaign."""

from __future__ import annotations

from pathlib import Path

import click

from rigdata.cli.terminal import progress, say, show_json
from rigdata.pipeline.rehearsal import rehearse
from rigdata.planning.description import read_request
from rigdata.planning.plan import make_plan
from rigdata.simulation.demo import SCENARIOS, write_example


@click.command("example")
@click.argument("folder", type=click.Path(path_type=Path), default="demo")
@click.option(
    "--size",
    type=click.Choice(["small", "full"]),
    default="full",
    show_default=True,
    help="Long logs at full rates, or short ones.",
)
@click.option(
    "--scenario",
    type=click.Choice(SCENARIOS),
    default=SCENARIOS[0],
    show_default=True,
    help="Two materials new and worn, or two incoming batches of one.",
)
@click.option(
    "--plan",
    "plan_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Carry out this plan (see 'rigdata plan') on the simulated bench instead.",
)
@click.option("--force", is_flag=True, help="Write over a campaign that is there.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def command(
    folder: Path, size: str, scenario: str, plan_file: Path | None, force: bool, as_json: bool
) -> None:
    """Write the demo campaign into FOLDER ('demo' unless told otherwise).

    It comes from a simulated bench: a rough-faced and a plain material (or three
    batches of one), the rig with its calibration records, the logs, and the clutch
    pack that the plates are for (differential.toml, for 'rigdata lock'). With --plan
    plates and friction are invented; order and settings are those of the plan.
    """
    with progress(quiet=as_json) as show:
        if plan_file is not None:
            plan = make_plan(read_request(plan_file))
            rehearse(plan, folder, force=force, progress=show)
        else:
            write_example(folder, size=size, scenario=scenario, force=force, progress=show)
    if as_json:
        show_json("example", (), folder=str(folder))
        return
    say(f"Wrote {folder / 'campaign.toml'}. Next: rigdata run {folder}")
