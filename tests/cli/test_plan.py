"""``rigdata plan``: what it prints and writes, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rigdata.cli.main import main

RIG = Path(__file__).parents[2] / "calibration" / "rig.toml"
CHEAP = ("resolve_percent = 5 ", "resolve_percent = 12 ")


def run(*options: str | Path) -> Result:
    return CliRunner().invoke(main, ["plan", *map(str, options)])


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    path = tmp_path / "plan.toml"
    result = run("--new", path)
    assert result.exit_code == 0
    assert f"rigdata plan {path}" in result.stdout
    text = path.read_text(encoding="utf-8").replace("rig/rig.toml", RIG.as_posix())
    path.write_text(text.replace(*CHEAP), encoding="utf-8")
    return path


def test_the_answer_comes_first_and_nothing_is_written(plan_file: Path) -> None:
    before = sorted(plan_file.parent.iterdir())
    result = run(plan_file)
    assert result.exit_code == 0, result.output
    first = result.stdout.splitlines()[0]
    assert first.startswith("3 packs of each material show a difference of ")
    assert "D-efficiency" in result.stdout
    assert "common practice, no source" in result.stdout
    assert "Nothing was written" in result.stdout
    *lines, last = result.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert last == f"Try it first: rigdata example trial --plan {plan_file}"
    assert sorted(plan_file.parent.iterdir()) == before


def test_sheet_and_campaign(plan_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "batch"
    assert run(plan_file, "--out", out).exit_code == 0
    assert sorted(path.name for path in out.iterdir()) == ["campaign.toml", "run-sheet.html"]
    check = CliRunner().invoke(main, ["check", str(out)])
    assert check.exit_code == 0, check.output
    assert "No run has a log yet" in check.stdout
    assert "Next: R001, " in check.stdout
    assert "R002" not in check.output  # not one line for every run to come

    (out / "campaign.toml").write_text("mine", encoding="utf-8")
    refused = run(plan_file, "--out", out)
    assert refused.exit_code == 1
    assert "the file is there already" in refused.stderr
    assert (out / "campaign.toml").read_text(encoding="utf-8") == "mine"
    (out / "log.csv").write_text("a log", encoding="utf-8")
    assert run(plan_file, "--out", out, "--force").exit_code == 0
    assert (out / "log.csv").read_text(encoding="utf-8") == "a log"
    assert "format = 1" in (out / "campaign.toml").read_text(encoding="utf-8")


def test_json(plan_file: Path) -> None:
    told = json.loads(run(plan_file, "--json").stdout)
    assert told["schema"] == "rigdata/plan/1"
    assert told["packs_of_each"] == 3
    assert 0.5 < told["d_efficiency"] <= 1.0
    assert [option["packs_of_each"] for option in told["options"]] == [2, 3, 4, 5]
    runs = [one["id"] for block in told["blocks"] for one in block["runs"]]
    assert runs == [f"R{i + 1:03d}" for i in range(len(runs))]


def test_like_an_earlier_campaign(plan_file: Path, results: tuple[Path, Result]) -> None:
    folder, _ = results
    result = run(plan_file, "--like", folder)
    assert result.exit_code == 0, result.output
    assert "2 packs: scatter of" in result.stdout.replace("\n  ", " ")
    assert "common practice" not in result.stdout


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (["nowhere.toml"], 2, "'rigdata plan --new plan.toml' writes one"),
        ([], 2, "Missing argument"),
        (["{plan}", "--like", "nowhere"], 2, "does not exist"),
        (["{plan}", "--like", "{folder}"], 1, "points.csv: cannot be read"),
        (["--new", "{plan}"], 1, "the file is there already"),
    ],
)
def test_bad_input(plan_file: Path, options: list[str], code: int, words: str) -> None:
    filled = [each.format(plan=plan_file, folder=plan_file.parent) for each in options]
    result = run(*filled)
    assert result.exit_code == code
    assert words in " ".join(result.stderr.split())
