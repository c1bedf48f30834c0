"""One at a time: two processes on one results folder do not mix."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rigdata.errors import ResultError
from rigdata.storage.lock import owned

HOLD = """
import sys, time
from pathlib import Path
from rigdata.storage.lock import owned
with owned(Path(sys.argv[1]), "rigdata run"):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def other(tmp_path: Path):
    """Another process that is at work on the folder."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path / "results")], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_the_second_is_told_who_is_at_work_and_since_when(tmp_path: Path, other) -> None:
    with pytest.raises(ResultError) as told, owned(tmp_path / "results", "rigdata fit"):
        pass
    assert f"'rigdata run', process {other.pid} on " in told.value.what
    assert "since less than a minute" in told.value.what
    assert "--out" in told.value.do
    with owned(tmp_path / "others", "rigdata fit"):
        assert names(tmp_path) == [".others.lock", ".results.lock"]


def test_a_killed_owner_leaves_no_lock_and_nothing_half_done(tmp_path: Path, other) -> None:
    (tmp_path / ".results.0123abcd.part").mkdir()
    other.send_signal(signal.SIGKILL)
    other.wait()
    with owned(tmp_path / "results", "rigdata fit"):
        assert names(tmp_path) == [".results.lock"]
    assert names(tmp_path) == []


def test_it_is_gone_after_a_fault_too(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), owned(tmp_path / "results", "rigdata fit"):
        raise RuntimeError
    assert names(tmp_path) == []


def test_an_unreadable_owner_is_no_riddle(tmp_path: Path, other) -> None:
    (tmp_path / ".results.lock").write_text("{")
    with (
        pytest.raises(ResultError, match="it has only just begun"),
        owned(tmp_path / "results", "rigdata fit"),
    ):
        pass


def test_hours_are_told_in_minutes(tmp_path: Path, other, monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 7260.0)
    with pytest.raises(ResultError, match="since 121 min"), owned(tmp_path / "results", "fit"):
        pass


def test_many_in_turn_each_are_alone(tmp_path: Path) -> None:
    """A counter that each reads, waits and writes back would lose steps if two were at once."""
    code = """
import sys, time
from pathlib import Path
from rigdata.errors import ResultError
from rigdata.storage.lock import owned
folder = Path(sys.argv[1])
done = 0
while done < 20:
    try:
        with owned(folder / "results", "count"):
            seen = int((folder / "count").read_text())
            time.sleep(0.001)
            (folder / "count").write_text(str(seen + 1))
            done += 1
    except ResultError:
        time.sleep(0.001)
"""
    (tmp_path / "count").write_text("0")
    command = [sys.executable, "-c", code, str(tmp_path)]
    workers = [subprocess.Popen(command) for _ in range(3)]
    assert [worker.wait() for worker in workers] == [0, 0, 0]
    assert (tmp_path / "count").read_text() == "60"
    assert names(tmp_path) == ["count"]
