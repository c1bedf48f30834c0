"""One at a time: two processes on one results folder do not mix."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rigdata.errors import ResultError
from rigdata.storage import lock
from rigdata.storage.lock import owned

HOLD = """
import sys, time
from pathlib import Path
from rigdata.storage.lock import owned
with owned(Path(sys.argv[1]), "rigdata run"):
    print("held", flush=True)
    time.sleep(60)
"""


FORK = """
import os, sys, time
from pathlib import Path
from rigdata.storage.lock import owned
with owned(Path(sys.argv[1]), "rigdata run"):
    if not os.fork():  # the child itself, for then it has begun
        print(os.getpid(), flush=True)
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
    assert "begun less than a minute ago" in told.value.what
    assert "--out" in told.value.do
    with owned(tmp_path / "others", "rigdata fit"):
        assert names(tmp_path) == [".others.lock", ".results.lock"]


def test_a_killed_owner_leaves_no_lock_and_nothing_half_done(tmp_path: Path, other, caplog) -> None:
    (tmp_path / ".results.0123abcd.part").mkdir()
    other.send_signal(signal.SIGKILL)
    other.wait()
    with owned(tmp_path / "results", "rigdata fit"):
        assert names(tmp_path) == [".results.lock"]
    assert names(tmp_path) == []
    (told,) = caplog.messages
    assert f"was killed ('rigdata run', process {other.pid} on " in told
    assert "are back" not in told


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked here")
def test_a_child_of_a_killed_owner_does_not_hold_the_lock(tmp_path: Path) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", FORK, str(tmp_path / "results")], stdout=subprocess.PIPE, text=True
    )
    child = int(parent.stdout.readline())
    with pytest.raises(ResultError, match="another rigdata"), owned(tmp_path / "results", "fit"):
        pass
    parent.kill()
    parent.wait()
    parent.stdout.close()
    os.kill(child, 0)  # it lives
    with owned(tmp_path / "results", "fit"):
        os.kill(child, signal.SIGKILL)


def test_results_that_a_kill_left_aside_are_back_and_that_is_said(tmp_path: Path, caplog) -> None:
    (tmp_path / ".results.0123abcd.old").mkdir()
    (tmp_path / ".results.0123abcd.old" / "points.csv").write_text("old")
    (tmp_path / ".results.0123abcd.part").mkdir()
    with owned(tmp_path / "results", "rigdata fit"):
        assert (tmp_path / "results" / "points.csv").read_text() == "old"
    assert names(tmp_path) == ["results"]
    assert "the results from before it are back" in caplog.text


def test_an_undisturbed_owner_has_nothing_to_say(tmp_path: Path, caplog) -> None:
    for _ in range(2):
        with owned(tmp_path / "results", "rigdata fit"):
            pass
    assert caplog.messages == []


@pytest.mark.skipif(sys.platform == "win32", reason="flock of POSIX")
def test_a_drive_without_locks_is_told_and_works(tmp_path: Path, monkeypatch, caplog) -> None:
    def refused(*_arguments: object) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(lock.fcntl, "flock", refused)
    with owned(tmp_path / "results", "rigdata fit"):
        pass
    assert "cannot be locked (No locks available)" in caplog.text
    assert names(tmp_path) == []


def test_it_is_gone_after_a_fault_too(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), owned(tmp_path / "results", "rigdata fit"):
        raise RuntimeError
    assert names(tmp_path) == []


def test_an_unreadable_owner_is_no_riddle(tmp_path: Path, other) -> None:
    (tmp_path / ".results.lock").write_text("{")
    with (
        pytest.raises(ResultError, match="it does not say which"),
        owned(tmp_path / "results", "rigdata fit"),
    ):
        pass


def test_hours_are_told_in_minutes(tmp_path: Path, other, monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 7260.0)
    with pytest.raises(ResultError, match="begun 121 min ago"), owned(tmp_path / "results", "fit"):
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
