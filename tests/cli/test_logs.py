"""The command ``logs``: text, JSON, figure, the begun rig.toml, exit codes."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rigdata.cli.main import main

ROWS = "".join(f"{i / 10:.1f};{50 + i % 7}.5;{i % 9}.25;on\n" for i in range(400))
PLAIN = f"Bench 3\nTime;Torque;Load;State\ns;Nm;kN;\n{ROWS}"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "R001.csv"
    path.write_text(PLAIN, encoding="utf-8")
    return path


def logs(*words: object) -> Result:
    return CliRunner().invoke(main, ["logs", *map(str, words)])


def test_what_is_shown(log: Path) -> None:
    result = logs(log)
    assert result.exit_code == 0, result.output
    out = " ".join(result.stdout.split())
    assert "delimited text, 400 rows from 0 s to 39.9 s, 10 Hz." in out
    assert "delimiter semicolon" in out
    assert "names 4 columns 2" in out
    assert "units a row 3" in out
    assert "Torque Nm 50.5 50.5 50.5 56.5" in out
    assert "Torque torque 400 10 Hz none" in out
    assert "Without numbers: 'State'." in out
    blocks = tomllib.loads(result.stdout.partition("For a rig.toml:")[2])
    assert blocks["log"]["time_column"] == "Time"
    assert blocks["channels"]["clamp_load"] == {"column": "Load", "unit": "kN"}


def test_it_fits_the_screen(log: Path, tmp_path: Path) -> None:
    short = tmp_path / "R.csv"
    names = ";".join(f"A rather long name of column {i} [furlong/s]" for i in range(5))
    rows = "".join(f"{i};" + ";".join(["-1234.56789e-12"] * 5) + "\n" for i in range(200))
    short.write_text(f"Time;{names}\n{rows}")
    for result in (logs(log), logs("-h")):
        assert max(map(len, result.stdout.splitlines())) <= 80
    report = logs(short).stdout.partition("For a rig.toml:")[0]
    assert max(map(len, report.splitlines()[1:])) <= 80


def test_what_was_dropped_is_told_with_code_3(log: Path) -> None:
    log.write_text(PLAIN + "40.0;5", encoding="utf-8")
    result = logs(log)
    assert result.exit_code == 3
    assert "last line without a line end left out" in " ".join(result.stderr.split())


def test_json(log: Path) -> None:
    found = json.loads(logs(log, "--json").stdout)
    assert found["schema"] == "rigdata/logs/1"
    assert found["dialect"]["names_line"] == 2
    assert found["time_column"] == "Time"
    torque = found["columns"][0]
    assert (torque["name"], torque["channel"], torque["low"]) == ("Torque", "torque", 50.5)
    assert tomllib.loads(found["rig_toml"])["log"]["decimal"] == "."


def test_the_rig_file_is_written_once(log: Path, tmp_path: Path) -> None:
    target = tmp_path / "rig.toml"
    result = logs(log, "--write", target)
    assert result.exit_code == 0
    assert "For a rig.toml" not in result.stdout
    text = target.read_text(encoding="utf-8")
    assert tomllib.loads(text)["channels"]["torque"]["column"] == "Torque"
    target.write_text("mine", encoding="utf-8")
    again = logs(log, "--write", target)
    assert again.exit_code == 1
    assert "is there already" in again.stderr
    assert target.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("ending", [".svg", ".png", ".pdf"])
def test_the_figure(log: Path, tmp_path: Path, ending: str) -> None:
    target = tmp_path / f"R001{ending}"
    assert logs(log, "--figure", target).exit_code == 0
    start = target.read_bytes()[:200]
    assert {".svg": b"<?xml", ".png": b"\x89PNG", ".pdf": b"%PDF"}[ending] in start


def test_a_rig_file_says_what_is_what(campaign: Path) -> None:
    log = campaign / "logs" / "R001.csv"
    rig = next(campaign.rglob("rig.toml"))
    result = logs(log, "--rig", rig)
    out = " ".join(result.stdout.split())
    assert "clamp load" in out
    assert "For a rig.toml" not in out
    log.with_name("X.csv").write_text(
        log.read_text(encoding="utf-8").replace("Torque", "Drive", 1), encoding="utf-8"
    )
    missing = logs(log.with_name("X.csv"), "--rig", rig)
    log.with_name("X.csv").unlink()
    assert missing.exit_code == 3
    assert "torque: there is no column 'Torque'" in " ".join(missing.stderr.split())


def test_a_time_that_nothing_tells_must_be_stated(tmp_path: Path) -> None:
    path = tmp_path / "R.csv"
    path.write_text("Run;Load\n" + "".join(f"{i};{i % 3}.5\n" for i in range(20)))
    result = logs(path)
    assert result.exit_code == 1
    assert "State the time's column with --time" in result.stderr
    assert logs(path, "--time", "Run").exit_code == 0


def test_names_do_not_command_the_terminal(tmp_path: Path) -> None:
    path = tmp_path / "R.csv"
    path.write_text("Time;To\x1b[31mrque\n" + "".join(f"{i};{i % 3}.5\n" for i in range(20)))
    result = logs(path)
    assert "\x1b" not in result.stdout
    assert "To?[31mrque" in result.stdout


def test_no_such_log(tmp_path: Path) -> None:
    assert logs(tmp_path / "none.csv").exit_code == 2
