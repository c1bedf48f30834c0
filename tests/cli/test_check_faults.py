"""`rigdata check` on a campaign with ten different faults names all ten in plain words."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from rigdata.cli.main import main
from rigdata.simulation.demo import write_example
from tests.faults import inject
from tests.faults.inject import Injector
from tests.faults.log_text import LogText

# The run, what is done to it, the seed of the fault's size and place, and the words for it.
FAULTS: dict[str, tuple[Injector, int, str]] = {
    "R004": (inject.unplugged, 1, r"(torque|clamp load) cell unplugged"),
    "R006": (inject.saturated, 1, r"(torque|clamp load) cell saturated"),
    "R016": (inject.swapped, 1, r"torque and clamp load are swapped"),
    "R023": (inject.sign, 1, r"(torque|clamp load|slip speed) has the wrong sign"),
    "R033": (inject.unit, 4, r"is in another unit than the rig file says"),
    "R044": (inject.clock, 1, r"the clock of the log is at fault"),
    "R054": (inject.tooth, 1, r"torque carries an oscillation that the log is too slow to show"),
    "R066": (inject.no_slip, 1, r"the pack stops slipping"),
    "R076": (inject.open_thermocouple, 1, r"plate thermocouple open"),
    "R088": (inject.dropout, 1, r"the speed pickup drops out to zero"),
}


@pytest.fixture(scope="module")
def spoilt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "demo"
    write_example(folder, seed=77, size="small")
    for run, (inject_one, seed, _) in FAULTS.items():
        log = LogText.read(folder / "logs" / f"{run}.csv")
        inject_one(log, np.random.default_rng(seed))
        log.write()
    return folder


def test_check_names_ten_faults_in_their_runs(spoilt: Path) -> None:
    result = CliRunner().invoke(main, ["check", str(spoilt), "--json"])
    assert result.exit_code == 3
    content = json.loads(result.stdout)
    told = {run["run"]: run for run in content["runs"]}
    for run, (_, _, words) in FAULTS.items():
        assert re.search(words, told[run]["reason"]), told[run]
        assert told[run]["verdict"] in ("look", "repeat")
        assert told[run]["do"]
    assert {fault["run"] for fault in content["faults"]} == set(FAULTS)
    for fault in content["faults"]:
        assert fault["sureness"] in ("certain", "likely", "possible")
        assert re.search(r"\d", fault["evidence"]), fault
        assert fault["start_s"] <= fault["end_s"]
        assert fault["action"]


def test_the_table_for_people_says_how_sure_and_what_was_done(spoilt: Path) -> None:
    result = CliRunner().invoke(main, ["check", str(spoilt)])
    text = " ".join(result.stdout.split())
    for run in FAULTS:
        assert re.search(rf"{run} .*?\((certain|likely|possible)\)", text)
    assert "the run is left out" in text
