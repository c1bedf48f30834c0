"""What comes in is data: never markup, never a command to a terminal. Each attack is planted."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rigdata.cli.main import main
from rigdata.errors import ResultError
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.storage.json_files import read_json

HOSTILE = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, folder)
    return folder


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, [*map(str, arguments)], color=False)


def with_remark(bench: Path, folder: Path, reason: str) -> Path:
    """Copy the bench with a reason, in TOML's own escapes, for leaving a run out."""
    shutil.copytree(bench, folder)
    file = folder / "campaign.toml"
    text = file.read_text(encoding="utf-8")
    at = text.index('id = "R004"')
    file.write_text(f'{text[:at]}exclude = "{reason}"\n{text[at:]}', encoding="utf-8")
    return folder


def test_a_remark_is_no_markup(bench: Path, tmp_path: Path) -> None:
    folder = with_remark(bench, tmp_path / "c", HOSTILE)
    page = tmp_path / "check.html"
    done = invoke("check", folder, "--page", page, "--no-cache")
    assert "alert(1)" in done.stdout
    assert "<script" not in page.read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)" in page.read_text(encoding="utf-8")
    done = invoke("run", folder, "--law", "log-speed", "--no-cache")
    assert done.exit_code == 3, done.output
    report = (folder / "results" / "report.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)" in report
    assert HOSTILE not in report


def test_a_remark_is_no_command_to_the_terminal(bench: Path, tmp_path: Path) -> None:
    folder = with_remark(bench, tmp_path / "c", "\\u001b[2J")
    done = invoke("check", folder, "--no-cache")
    assert done.exit_code == 1
    assert "control character" in done.stderr
    assert "\x1b" not in done.output


def test_a_fault_in_a_file_is_no_command_to_the_terminal(bench: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(bench, tmp_path / "c")
    rig = next(folder.rglob("rig.toml"))
    rig.write_text(
        rig.read_text(encoding="utf-8").replace("[log]", '"\\u001b[31mx" = 1\n[log]', 1),
        encoding="utf-8",
    )
    done = invoke("check", folder)
    assert done.exit_code == 1
    assert "\x1b" not in done.output


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("name", ["logs/R004.csv", "campaign.toml"])
def test_a_pipe_in_place_of_a_file_is_not_waited_for(
    bench: Path, tmp_path: Path, name: str
) -> None:
    folder = shutil.copytree(bench, tmp_path / "c")
    (folder / name).unlink()
    os.mkfifo(folder / name)
    done = invoke("check", folder)
    assert done.exit_code != 0 or "R004" not in done.stdout.partition("Next")[0]
    shown = invoke("logs", folder / name)
    assert shown.exit_code in (1, 2)


def test_a_link_out_of_the_campaign_is_refused(bench: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(bench, tmp_path / "c")
    log = folder / "logs/R004.csv"
    outside = log.rename(tmp_path / "secret.csv")
    log.symlink_to(outside)
    done = invoke("check", folder)
    assert done.exit_code == 1
    assert "R004" in done.stderr


def test_json_nested_without_end_is_one_message(tmp_path: Path) -> None:
    file = tmp_path / "fits.json"
    file.write_text("[" * 100_000 + "]" * 100_000)
    with pytest.raises(ResultError, match="nested too deeply"):
        read_json(file)
