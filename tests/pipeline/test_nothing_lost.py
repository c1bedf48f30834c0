"""Results from logs and from what was kept of them; inputs only read; one at a time."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from rigdata.cli.main import main
from rigdata.logs import frames_cache
from rigdata.pipeline.folder import CACHE
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.storage.files import sha256
from rigdata.storage.lock import owned

DONE = (0, 3)

# Says of every change to a file, and of every opening for writing, which file it is.
WATCHED = """
import os, sys
told = open(sys.argv.pop(1), "w", encoding="utf-8")
CHANGES = ("os.rename", "os.remove", "os.rmdir", "os.truncate", "os.chmod", "os.utime", "os.link")

def look(event, arguments):
    if event == "open":
        path, mode, flags = arguments
        writes = flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND)
        paths = [path] if writes else []
    else:
        paths = arguments[:2] if event in CHANGES else []
    for path in paths:
        if isinstance(path, (str, bytes, os.PathLike)):
            told.write(os.path.abspath(os.fsdecode(path)) + "\\n")

sys.addaudithook(look)
from rigdata.cli.main import main
main()
"""


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, folder)
    return folder


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def hashes(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_kept_frames_and_the_day_change_no_result(
    campaign: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read anew on one day, taken from what was kept on another: only the day differs."""
    made, days = [], ["1970-01-01T00:00:00Z", "1970-01-02T00:00:00Z"]
    for number, more in enumerate(("--no-cache", "--cache")):
        out = tmp_path / more / "results"
        monkeypatch.setenv("SOURCE_DATE_EPOCH", str(86400 * number))
        done = invoke("run", campaign, "--out", out, "--law", "log-speed", more)
        assert done.exit_code in DONE, done.output
        manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
        assert manifest.pop("written") == days[number]
        made.append((manifest, {k: v for k, v in hashes(out).items() if k != "manifest.json"}))
        if more == "--no-cache":
            assert not (campaign / CACHE).exists()
            assert invoke("check", campaign).exit_code in DONE
            assert len(list((campaign / CACHE).glob("*.frames"))) == len(
                list(campaign.glob("logs/*"))
            )
            monkeypatch.setattr(frames_cache, "read_frames", None)
    assert made[0] == made[1]


def test_inputs_are_only_ever_read(campaign: Path, tmp_path: Path) -> None:
    before, told = hashes(campaign), tmp_path / "told"
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, str(told), "reduce", str(campaign)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    paths = {Path(line) for line in told.read_text(encoding="utf-8").splitlines()}
    assert any(path.parent.name.endswith(".part") for path in paths), "the hook saw nothing"
    touched = {p.relative_to(campaign).parts[0] for p in paths if p.is_relative_to(campaign)}
    inputs = [n for n in touched if n not in ("results", CACHE) and not n.startswith(".results.")]
    assert inputs == []
    after = hashes(campaign)
    assert {name: after.get(name) for name in before} == before
    assert (campaign / "results").is_dir()


def test_the_second_command_is_told_and_changes_nothing(campaign: Path, tmp_path: Path) -> None:
    out = tmp_path / "results"
    with owned(out, "rigdata run"):
        second = invoke("reduce", campaign, "--out", out, "--force")
    assert second.exit_code == 1
    assert "another rigdata is at work on these results ('rigdata run', process" in second.stderr
    assert list(tmp_path.iterdir()) == []
