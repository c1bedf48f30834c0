"""A small campaign from the virtual bench, with one dead run, and its results."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rigdata.cli.main import main
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec

DEAD_RUN = "R003"


def _unplug_torque(log: Path) -> None:
    """Let the torque column read one value for ever, as an unplugged cell does."""
    header, units, *lines = log.read_text(encoding="utf-8").splitlines()
    at = header.split(",").index("Torque")
    for i, line in enumerate(lines):
        cells = line.split(",")
        cells[at] = "0.0121"
        lines[i] = ",".join(cells)
    log.write_text("\n".join([header, units, *lines]) + "\n", encoding="utf-8")


@pytest.fixture(scope="session")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "study"
    tests = ("zero", "drag", "sweep-light", "load")
    simulate_campaign(study_spec(packs=2, tests=tests), 5, folder)
    _unplug_torque(folder / "logs" / f"{DEAD_RUN}.csv")
    return folder


@pytest.fixture(scope="session")
def results(campaign: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The results folder of ``rigdata run``, and what it printed."""
    out = tmp_path_factory.mktemp("results") / "all"
    result = CliRunner().invoke(main, ["run", str(campaign), "--out", str(out)])
    return out, result
