"""One folder in the place of another, in one step or in two, and what a kill leaves."""

from __future__ import annotations

import contextlib
import errno
import sys
from pathlib import Path

import pytest

from rigdata.storage import swap
from rigdata.storage.swap import put_right, swap_in


def folder(path: Path, text: str) -> Path:
    path.mkdir()
    (path / "points.csv").write_text(text)
    return path


def text(path: Path) -> str:
    return (path / "points.csv").read_text()


def names(path: Path) -> list[str]:
    return sorted(entry.name for entry in path.iterdir())


@pytest.fixture(params=[True, False], ids=["in one step", "in two"])
def steps(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> bool:
    if not request.param:
        monkeypatch.setattr(swap, "_exchanged", lambda *_: False)
    return bool(request.param)


def test_the_new_one_is_in_place_and_the_old_one_aside(tmp_path: Path, steps: bool) -> None:
    target = folder(tmp_path / "results", "old")
    swap_in(folder(tmp_path / ".results.0123abcd.part", "new"), target)
    assert (text(target), text(tmp_path / ".results.0123abcd.old")) == ("new", "old")
    assert names(tmp_path) == [".results.0123abcd.old", "results"]


def test_an_empty_place_is_filled(tmp_path: Path, steps: bool) -> None:
    swap_in(folder(tmp_path / ".results.0123abcd.part", "new"), tmp_path / "results")
    assert text(tmp_path / "results") == "new"
    assert names(tmp_path) == ["results"]


def test_ctrl_c_between_two_renames_brings_the_old_one_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(swap, "_exchanged", lambda *_: False)
    target = folder(tmp_path / "results", "old")
    rename, calls = Path.rename, []

    def interrupted(self: Path, other: Path) -> Path:
        calls.append(self)
        done = rename(self, other)
        if len(calls) == 1:
            raise KeyboardInterrupt
        return done

    monkeypatch.setattr(Path, "rename", interrupted)
    with pytest.raises(KeyboardInterrupt):
        swap_in(folder(tmp_path / ".results.0123abcd.part", "new"), target)
    assert text(target) == "old"


@pytest.mark.skipif(sys.platform != "linux", reason="names are exchanged in one step on Linux")
def test_linux_exchanges_names_in_one_step(tmp_path: Path) -> None:
    one, other = folder(tmp_path / "a", "1"), folder(tmp_path / "b", "2")
    assert swap._exchanged(one, other)
    assert (text(one), text(other)) == ("2", "1")
    with pytest.raises(FileNotFoundError):
        swap._exchanged(one, tmp_path / "nowhere")


def test_a_system_that_cannot_exchange_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Library:
        def renameat2(self, *_arguments: object) -> int:
            return -1

    monkeypatch.setattr(swap.ctypes, "CDLL", lambda *_, **__: Library())
    monkeypatch.setattr(swap.ctypes, "get_errno", lambda: errno.ENOSYS)
    assert not swap._exchanged(tmp_path / "a", tmp_path / "b")
    monkeypatch.setattr(swap.ctypes, "CDLL", lambda *_, **__: object())
    assert not swap._exchanged(tmp_path / "a", tmp_path / "b")


@pytest.mark.parametrize("killed_at", [1, 2, 3])
def test_what_a_kill_leaves_is_put_right(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, killed_at: int, steps: bool
) -> None:
    """Killed before, between and after the renames: old or new stands whole, nothing beside it."""
    target = folder(tmp_path / "results", "old")
    new = folder(tmp_path / ".results.0123abcd.part", "new")
    rename, calls = Path.rename, []

    class Killed(BaseException):
        pass

    def mortal(self: Path, other: Path) -> Path:
        calls.append(self)
        if len(calls) >= killed_at:
            raise Killed
        return rename(self, other)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "rename", mortal)
        with contextlib.suppress(Killed):
            swap_in(new, target)
    put_right(target)
    assert text(target) in ("old", "new")
    assert names(tmp_path) == ["results"]


def test_an_empty_folder_made_since_does_not_hide_the_old_results(tmp_path: Path) -> None:
    folder(tmp_path / ".results.0123abcd.old", "old")
    (tmp_path / "results").mkdir()
    assert put_right(tmp_path / "results")
    assert text(tmp_path / "results") == "old"
    assert names(tmp_path) == ["results"]


def test_what_belongs_to_others_is_left_alone(tmp_path: Path) -> None:
    token = "0123abcd"
    kept = [f".other.{token}.part", f"results.{token}.old", f".results.2.{token}.part"]
    target = folder(tmp_path / "results", "old")
    for name in (*kept, ".results.part"):
        folder(tmp_path / name, "theirs")
    (tmp_path / ".results.lock").write_text("")
    put_right(target)
    assert names(tmp_path) == sorted([*kept, ".results.part", ".results.lock", "results"])


def test_a_name_with_brackets_is_only_a_name(tmp_path: Path) -> None:
    target = tmp_path / "results [a]"
    folder(tmp_path / ".results [a].0123abcd.old", "old")
    folder(tmp_path / ".results a.0123abcd.old", "theirs")
    assert put_right(target)
    assert text(target) == "old"
    assert names(tmp_path) == [".results a.0123abcd.old", "results [a]"]
