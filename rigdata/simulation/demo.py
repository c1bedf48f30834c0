"""The demo campaign in two sizes, and a small one for studies."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from rigdata.errors import ResultError
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.incoming import incoming_spec
from rigdata.simulation.logfile import PLAIN, SEMICOLON
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.scenario import (
    LONG,
    OIL,
    ROUGH,
    SHORT,
    STAGES,
    STEEL,
    TRACK_DAYS,
    standard_runs,
)
from rigdata.simulation.sensors import Logger
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import Material, Truth
from rigdata.steps import Progress
from rigdata.storage.files import write_text

DIFFERENTIAL, INCOMING = "ramp-differential", "incoming-batches"
SCENARIOS = (DIFFERENTIAL, INCOMING)
CLUTCH_PACK = Path(__file__).with_name("differential.toml")
_SEED = 20250317
_FIRST_DAY = datetime.date(2025, 3, 10)
_LAST_DAY = datetime.date(2025, 3, 28)
_BASIS = ("zero", "drag")


def write_example(
    folder: Path,
    *,
    seed: int = _SEED,
    size: str = "full",
    scenario: str = DIFFERENTIAL,
    rig_folder: Path | None = None,
    force: bool = False,
    progress: Progress | None = None,
) -> Truth:
    """Write the demo campaign, and the clutch pack that its plates are for.

    Parameters
    ----------
    folder : Path
        Where it goes.
    seed : int
        Seed of all chance.
    size : str
        ``full`` for long logs in plain CSV, ``small`` for short ones with a
        semicolon and a decimal comma; the incoming batches have one size.
    scenario : str
        One of `SCENARIOS`.
    rig_folder : Path, optional
        Where the rig file goes; ``folder/rig`` by default.
    force : bool
        Write over a campaign that is there.
    progress : callable, optional
        Told each run before it is made.

    Returns
    -------
    Truth
        What a reduction should find.

    Raises
    ------
    ResultError
        When `folder` already holds something and `force` is not set.
    """
    check_free(folder, force=force)
    if scenario not in SCENARIOS:
        raise ValueError(f"scenario must be one of {', '.join(SCENARIOS)}, not {scenario!r}")
    spec = incoming_spec() if scenario == INCOMING else demo_spec(size)
    truth = simulate_campaign(spec, seed, folder, rig_folder=rig_folder, progress=progress)
    if scenario == DIFFERENTIAL:
        write_text(folder / CLUTCH_PACK.name, CLUTCH_PACK.read_text(encoding="utf-8"))
    return truth


def check_free(folder: Path, *, force: bool = False) -> None:
    """Check that `folder` may be written into: new, empty, or `force` is set.

    Raises
    ------
    ResultError
        When it already holds something.
    """
    if not force and folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ResultError(
            "the folder is not empty",
            where=str(folder),
            expected="a new or empty folder",
            do="Name another folder, or use --force to write over the files in it",
        )


def demo_spec(size: str) -> CampaignSpec:
    """Return the plan of the demo campaign.

    Parameters
    ----------
    size : str
        ``full`` or ``small``.

    Raises
    ------
    ValueError
        When the size is another one.
    """
    if size not in ("full", "small"):
        raise ValueError(f"size must be 'full' or 'small', not {size!r}")
    full = size == "full"
    packs = _demo_packs()
    tests = {pack.name: _tests(pack, full=full) for pack in packs}
    runs = standard_runs(packs, tests, LONG if full else SHORT, _FIRST_DAY)
    return CampaignSpec(
        name="plates for a ramp-type differential, spring tests",
        baseline=STEEL.name,
        rig=RigDesign(logs_height=full),
        materials=(ROUGH, STEEL),
        packs=packs,
        runs=_annotated(runs),
        date=_LAST_DAY,
        oil=OIL,
        dialect=PLAIN if full else SEMICOLON,
        logger=Logger(dropout=3e-4, spike=1e-4),
        duties=(STAGES, TRACK_DAYS),
        inspections=True,
    )


def study_spec(
    *,
    packs: int = 3,
    materials: tuple[Material, ...] = (ROUGH, STEEL),
    tests: tuple[str, ...] = ("zero", "drag", "sweep-light", "sweep-heavy", "load"),
    bedded: bool = True,
) -> CampaignSpec:
    """Return a small, quick campaign for studies of coverage and bias.

    Parameters
    ----------
    packs : int
        Packs of each material.
    materials : tuple of Material
        Materials; the last one is the baseline.
    tests : tuple of str
        Tests of each pack.
    bedded : bool
        Whether the packs were bedded in beforehand.
    """
    state = "bedded" if bedded else "new"
    designs = tuple(
        PackDesign(f"{'ABCDEFGH'[row]}{number + 1}", material.name, state=state)
        for row, material in enumerate(materials)
        for number in range(packs)
    )
    pace = replace(SHORT, breakaway_hz=250.0)
    return CampaignSpec(
        name="study",
        baseline=materials[-1].name,
        rig=RigDesign(),
        materials=materials,
        packs=designs,
        date=_LAST_DAY,
        runs=standard_runs(designs, dict.fromkeys([d.name for d in designs], tests), pace),
    )


def _demo_packs() -> tuple[PackDesign, ...]:
    """Four new packs of each material from two batches, and the worn ones."""
    packs: list[PackDesign] = []
    for letter, material, batches, served in (
        ("A", ROUGH.name, ("LA-07", "LA-11"), ((7, 62.0), (8, 84.0), (9, 126.0))),
        ("B", STEEL.name, ("SB-31", "SB-34"), ((7, 70.0), (8, 96.0), (9, 118.0))),
    ):
        packs += [
            PackDesign(f"{letter}{number}", material, batch=batches[(number - 1) // 2])
            for number in range(1, 5)
        ]
        packs += [
            PackDesign(
                f"{letter}{number}",
                material,
                batch=batches[0],
                state="worn",
                service_hours=hours,
                duty=STAGES.name,
                pressure_law="uniform-wear",
                wear_mixture=(0.6, 1.0),
                radius_u_mm=0.10,
            )
            for number, hours in served
        ]
    return tuple(packs)


def _tests(pack: PackDesign, *, full: bool) -> tuple[str, ...]:
    """Tests of one pack: all of them on odd packs, the main ones on the others."""
    sweeps, number = ("sweep-light", "sweep-heavy", "load"), pack.name[-1]
    if pack.state == "worn":
        return (*_BASIS, *sweeps, "temperature", "breakaway") if full else (*_BASIS, *sweeps)
    soft = {"1": "breakaway-cold", "2": "breakaway-heavy", "3": "breakaway-cold"}
    rests = ["breakaway"] if full or number in soft else []
    if full and number in soft:
        rests.append(soft[number])
    if number in "13":
        rest = ("sweep-middle", "temperature", "steady", "stint")
        return (*_BASIS, "bedding", *sweeps, *rest, *rests)
    return (*_BASIS, "bedding", *sweeps, *rests)


def _annotated(runs: tuple[RunDesign, ...]) -> tuple[RunDesign, ...]:
    """Note what happened on the day: one run is spoilt, one has a remark."""
    loads = [run.id for run in runs if run.commands.procedure == "load-sweep"]
    return tuple(
        replace(run, exclude="oil pump tripped during the run")
        if run.id == loads[1]
        else replace(run, remark="hall door open, cool draught")
        if run.id == loads[2]
        else run
        for run in runs
    )
