"""Spoilt files, and what the command line makes of each.

A valid file is spoilt in one to four ways and given to a command in a forked process,
so that its time, its memory and all that it prints are its own.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import resource
import shutil
import signal
import sys
import time
import traceback
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from rigdata.cli.main import COMMANDS, LazyGroup, main
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import ConstantCurve, Material
from tests.campaign.test_certificate import CERTIFICATE, KEYS, WARM, both
from tests.properties.spoiling import JSON, TABLE, TOML, XML, Change, made_up_log, spoilt

OUTCOMES = (0, 1, 3)
MOST_S, MOST_MB = 5.0, 200.0
HANGS_S = 120  # by the clock: the processor may be shared
_SPACE = 3 * 2**30  # of addresses; beyond it memory runs out in the child alone


@dataclass(frozen=True)
class Outcome:
    """What a command made of a file.

    Attributes
    ----------
    code : int
        Its exit code; negative for a signal.
    seconds : float
        Of processor time.
    megabytes : float
        Of memory beyond what it started with.
    faults : tuple of str
        What is wrong with it.
    shown : str
        What it printed, or the traceback.
    """

    code: int
    seconds: float
    megabytes: float
    faults: tuple[str, ...]
    shown: str


def called(arguments: list[str], place: Path) -> Outcome:
    """Give a command line to a forked process, and judge what comes of it."""
    files = [place / name for name in (".stdout", ".stderr", ".traceback", ".start")]
    for file in files:
        file.write_bytes(b"")
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        _work(arguments, files)
    _, status, used = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    out, said, trace, own = (f.read_text(encoding="utf-8", errors="replace") for f in files)
    seconds = used.ru_utime + used.ru_stime
    megabytes = max(0.0, used.ru_maxrss / 1024 - float(own))
    faults = []
    if trace:
        faults.append("traceback: " + trace.strip().splitlines()[-1][:200])
    elif code not in OUTCOMES:
        faults.append(f"exit code {code}")
    elif code == 1 and (said.count("rigdata: ") != 1 or said.count("\n") != 1):
        faults.append("not one message")
    if "Warning: " in said or "Traceback" in said:
        faults.append("a warning of Python's own")
    if any(not (c.isprintable() or c == "\n") for c in out + said):
        faults.append("control characters")
    if seconds > MOST_S:
        faults.append(f"{seconds:.1f} s")
    if megabytes > MOST_MB:
        faults.append(f"{megabytes:.0f} MB")
    return Outcome(code, seconds, megabytes, tuple(faults), trace or out[-2000:] + said[-2000:])


def _work(arguments: list[str], files: list[Path]) -> None:
    """Run a command line in this process, which ends with it."""
    code = 70
    try:
        files[3].write_text(str(_resident()), encoding="ascii")
        signal.alarm(HANGS_S)
        resource.setrlimit(resource.RLIMIT_AS, (_SPACE, _SPACE))
        for stream, file in ((1, files[0]), (2, files[1])):
            os.dup2(os.open(file, os.O_WRONLY), stream)
        sys.stdout = io.TextIOWrapper(io.FileIO(1, "w"), encoding="utf-8")
        sys.stderr = io.TextIOWrapper(
            io.FileIO(2, "w"), encoding="utf-8", errors="backslashreplace"
        )
        main(arguments, prog_name="rigdata")
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:
        files[2].write_text(traceback.format_exc(limit=-12), encoding="utf-8", errors="replace")
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _resident() -> float:
    """Return the memory of this process. [MB]"""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 2**20


@dataclass(frozen=True)
class Target:
    """A file that is spoilt, and the command that reads it.

    Attributes
    ----------
    kind : str
        What it is.
    file : str
        Its path in the campaign.
    changes : tuple of Change
        How it is spoilt; none for logs that are made up.
    command : tuple of str
        With ``{}`` for the campaign.
    share : float
        How often, against the others.
    """

    kind: str
    file: str
    changes: tuple[Change, ...]
    command: tuple[str, ...]
    share: float


INSPECTIONS = """\
pack,service_hours,plate,member,thickness_mm,mass_g,roughness_ra_um,note
P1,0,F1,friction,2.001,87.70,1.55,
P1,0,F2,friction,2.003,87.75,1.50,
P1,40.5,F1,friction,1.996,87.52,,after test
P1,40.5,M1,mating,1.981,,0.31,
"""
LOCK = (
    "lock", "{}/differential.toml", "--table", "{}/results/tables/rough/new",
    "--torque", "1", "--temperature", "78", "--rpm", "100",
)  # fmt: skip
REDUCE = ("reduce", "{}", "--no-cache", "--out", "{}/out")
FIT = ("fit", "{}", "--law", "constant")
RECORDS = ("calibrations", "{}/rig/rig.toml")
FIGURES = ("figures", "{}", "--list")
LOG = "logs/P1-one.csv"
TARGETS = (
    Target("log", LOG, TABLE, ("logs", "{}/" + LOG, "--rig", "{}/rig/rig.toml"), 20.0),
    Target("log", LOG, TABLE, ("check", "{}", "--no-cache"), 5.0),
    Target("log", LOG, TABLE, REDUCE, 10.0),
    Target("made-up log", LOG, (), ("logs", "{}/" + LOG), 15.0),
    Target("campaign.toml", "campaign.toml", TOML, ("check", "{}"), 8.0),
    Target("rig.toml", "rig/rig.toml", TOML, RECORDS, 6.0),
    Target("rig.toml", "rig/rig.toml", TOML, REDUCE, 3.0),
    Target("record", "rig/records/TQ-2025-02.toml", TOML, RECORDS, 6.0),
    Target("points of a record", "rig/records/TQ-2025-02.csv", TABLE, RECORDS, 6.0),
    Target("certificate", "rig/cert.xml", XML, ("calibrations", "{}/rig/certified.toml"), 8.0),
    Target("inspections.csv", "inspections.csv", TABLE, ("wear", "{}"), 4.0),
    Target("plan.toml", "plan.toml", TOML, ("plan", "{}/plan.toml"), 2.0),
    Target("differential.toml", "differential.toml", TOML, LOCK, 5.0),
    Target("points.csv", "results/points.csv", TABLE, FIT, 3.0),
    Target("budget.csv", "results/budget.csv", TABLE, FIT, 2.0),
    Target("fits.json", "results/fits.json", JSON, ("tables", "{}"), 3.0),
    Target("fits.json", "results/fits.json", JSON, ("budget", "{}/results"), 1.0),
    Target("bedding.json", "results/bedding.json", JSON, ("tables", "{}"), 1.0),
    Target("manifest.json", "results/manifest.json", JSON, ("wear", "{}/results"), 3.0),
    Target("coefficients.json", "results/tables/rough/new/coefficients.json", JSON, LOCK, 6.0),
    Target("datapackage.json", "results/tables/rough/new/datapackage.json", JSON, LOCK, 2.0),
    Target("comparison.csv", "results/comparison.csv", TABLE, FIGURES, 0.4),
    *(
        Target(name, f"results/{name}", JSON, FIGURES, 0.4)
        for name in ("traits.json", "batches.json", "wear.json", "bedding.json")
    ),
)  # fmt: skip


def example(folder: Path) -> Path:
    """Write a tiny campaign with all kinds of files, and its results; return its folder."""
    bench = LazyGroup()
    for name in COMMANDS:  # loaded once, not by each child
        bench.get_command(None, name)  # type: ignore[arg-type]
    packs = [PackDesign("P1", "rough"), PackDesign("P2", "plain")]
    runs = []
    for pack in packs:
        load = pack.load_n(3.0)
        drag = procedures.drag(
            cold_c=60.0, hot_c=80.0, top_m_s=0.5, hold_s=1.0, heating_s=2.0, rate_hz=10.0
        )
        runs.append(RunDesign(f"{pack.name}-drag", pack.name, drag))
        for name, speed in (("one", 0.2), ("two", 0.3), ("three", 0.3)):
            hold = procedures.steady(
                load_n=load, speed_m_s=speed, oil_c=70.0, seconds=4.0, rate_hz=10.0
            )
            runs.append(RunDesign(f"{pack.name}-{name}", pack.name, hold))
    spec = CampaignSpec(
        name="tiny",
        baseline="plain",
        rig=RigDesign(),
        materials=tuple(
            Material(name, name, "plain", ConstantCurve(mu))
            for name, mu in (("rough", 0.14), ("plain", 0.11))
        ),
        packs=tuple(packs),
        runs=tuple(runs),
        oil={
            "name": "oil",
            "kinematic_viscosity_40c_mm2_s": 170.0,
            "kinematic_viscosity_100c_mm2_s": 24.0,
        },
    )
    simulate_campaign(spec, 3, folder)
    (folder / "inspections.csv").write_text(INSPECTIONS, encoding="utf-8")
    for name, package in (("plan.toml", "planning"), ("differential.toml", "simulation")):
        text = files(f"rigdata.{package}").joinpath(name).read_text(encoding="utf-8")
        text = text.replace("force_n = 5800.0", "force_n = 11500.0")
        (folder / name).write_text(text, encoding="utf-8")
    rig = (folder / "rig" / "rig.toml").read_text(encoding="utf-8")
    certified = rig.replace("records/CL-2025-02.toml", "cert.toml")
    (folder / "rig" / "certified.toml").write_text(certified, encoding="utf-8")
    (folder / "rig" / "cert.toml").write_text(KEYS, encoding="utf-8")
    certificate = CERTIFICATE.format(results=both(), more="", end="", warm=WARM)
    (folder / "rig" / "cert.xml").write_text(certificate, encoding="utf-8")
    outcome = called(["run", str(folder), "--no-cache"], folder.parent)
    assert outcome.code in (0, 3), outcome
    return folder


def copied(base: Path, place: Path) -> Path:
    """Return a fresh copy of a campaign, its large files linked."""
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(base, place, copy_function=os.link)
    return place


def _vouched_for(campaign: Path, file: Path) -> None:
    """Let the files that hold its hash name the spoilt file, so that it is read all the same."""
    package = file.parent / "datapackage.json"
    if file != package:
        package.unlink(missing_ok=True)
    manifest = campaign / "results" / "manifest.json"
    if file == manifest or manifest.parent not in file.parents:
        return
    told = json.loads(manifest.read_bytes())
    for entry in told["outputs"]:
        if entry["name"] == file.relative_to(manifest.parent).as_posix():
            entry["sha256"] = hashlib.sha256(file.read_bytes()).hexdigest()
    manifest.unlink()
    manifest.write_text(json.dumps(told), encoding="utf-8")


def tried(target: Target, base: Path, place: Path, rng: random.Random) -> tuple[Outcome, str]:
    """Spoil one file of a copy of a campaign and give it to its command."""
    campaign = copied(base, place / "campaign")
    file = campaign / target.file
    if target.changes:
        data, how = spoilt(file.read_bytes(), target.changes, rng)
    else:
        data, how = made_up_log(rng), "made up"
    file.unlink()
    file.write_bytes(data)
    if rng.random() < 0.5:
        _vouched_for(campaign, file)
    began = time.monotonic()
    outcome = called([part.replace("{}", str(campaign)) for part in target.command], place)
    assert time.monotonic() - began < HANGS_S + 10
    return outcome, how
