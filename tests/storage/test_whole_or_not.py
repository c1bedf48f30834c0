"""Whole-or-not-at-all writing, checked by breaking it off at every step."""

import datetime
import enum
import hashlib
import json
import math
import os
import stat
import subprocess
import sys
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from rigdata.errors import ResultError
from rigdata.storage import swap
from rigdata.storage.files import is_file, sha256, sha256_bytes, timestamp, write_text
from rigdata.storage.folders import check_replaceable, is_result, staged_folder, write_manifest
from rigdata.storage.json_files import json_text, read_json, write_json


def result_folder(folder: Path, text: str = "old") -> Path:
    folder.mkdir(parents=True)
    (folder / "points.csv").write_text(text)
    write_manifest(folder, {"version": "0"})
    return folder


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# --- single files


def test_sha256_is_that_of_the_raw_bytes(tmp_path):
    # FIPS 180-4 example: the SHA-256 of "abc".
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256(tmp_path / "abc") == known
    assert sha256_bytes(b"abc") == known
    (tmp_path / "crlf").write_bytes(b"a\r\n")
    assert sha256(tmp_path / "crlf") == hashlib.sha256(b"a\r\n").hexdigest()


def test_text_is_utf8_with_newlines_and_replaces_what_was_there(tmp_path):
    path = tmp_path / "sub" / "a.txt"
    write_text(path, "mü\r\nx\n")
    assert path.read_bytes() == "mü\nx\n".encode()
    write_text(path, "second")
    assert path.read_bytes() == b"second"
    assert names(path.parent) == ["a.txt"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_write_broken_off_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch, step, error):
    path = tmp_path / "a.txt"
    write_text(path, "old")

    def broken(*_args):
        raise error

    monkeypatch.setattr(*((os, "fsync") if step == "fsync" else (Path, "replace")), broken)
    kind = ResultError if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(kind) as caught:
        write_text(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]
    if kind is ResultError:
        assert str(path) in str(caught.value)
        assert "No space left" in str(caught.value)


@pytest.mark.skipif(os.name == "nt", reason="permission bits of POSIX")
def test_files_and_folders_get_the_ordinary_permissions(tmp_path):
    before = os.umask(0o027)
    try:
        write_text(tmp_path / "a.txt", "x")
        with staged_folder(tmp_path / "results") as part:
            write_manifest(part, {})
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o640
    assert stat.S_IMODE((tmp_path / "results").stat().st_mode) == 0o750


def test_a_link_is_kept_and_its_target_written(tmp_path):
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    write_text(tmp_path / "link.txt", "new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"


# --- JSON


class Side(enum.Enum):
    LEFT = "left"


def test_json_is_sorted_stable_and_plain():
    data = {
        "b": np.array([[1.5, 2.0]]),
        "a": MappingProxyType({"n": np.int64(3), "flag": np.True_, "x": np.float64(0.1)}),
        "when": datetime.date(2026, 3, 1),
        "where": Path("logs") / "a.csv",
        "side": Side.LEFT,
        "pair": (1, None),
        "word": np.str_("mü"),
    }
    text = json_text(data)
    assert text == json_text(dict(reversed(data.items())))
    assert text.endswith("}\n")
    assert json.loads(text) == {
        "a": {"flag": True, "n": 3, "x": 0.1},
        "b": [[1.5, 2.0]],
        "pair": [1, None],
        "side": "left",
        "when": "2026-03-01",
        "where": "logs/a.csv",
        "word": "mü",
    }
    assert list(json.loads(text)) == sorted(data)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused_by_place(bad):
    with pytest.raises(ResultError, match=r"fits\.rough\[1\]\.u"):
        json_text({"fits": {"rough": [{"u": 1.0}, {"u": np.array(bad)}]}})


def test_json_keys_and_unknown_things_are_faults_of_the_program():
    with pytest.raises(TypeError, match="keys"):
        json_text({1: 2})
    with pytest.raises(TypeError):
        json_text({"a": object()})


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "does not exist"),
        (b'{"a": 1,\n "b" 2}', "line 2, column 6"),
        (b'{"a": NaN}', "NaN"),
        (b'{"a": -Infinity}', "-Infinity"),
        (b'{"a": "\xff"}', "UTF-8"),
    ],
)
def test_json_that_cannot_be_read_names_the_file_and_the_fault(tmp_path, content, words):
    path = tmp_path / "fits.json"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ResultError) as caught:
        read_json(path)
    assert str(path) in str(caught.value)
    assert words in str(caught.value)


def test_a_folder_is_no_json(tmp_path):
    with pytest.raises(ResultError, match="cannot be read"):
        read_json(tmp_path)


def test_json_comes_back_as_written(tmp_path):
    write_json(tmp_path / "a.json", {"x": [0.1, 1e-300], "t": "mü"})
    assert read_json(tmp_path / "a.json") == {"x": [0.1, 1e-300], "t": "mü"}


# --- time stamps


def test_timestamp_follows_source_date_epoch(monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1772366400")
    assert timestamp() == "2026-03-01T12:00:00Z"
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    now = datetime.datetime.now(datetime.UTC)
    written = datetime.datetime.fromisoformat(timestamp())
    assert abs((now - written).total_seconds()) < 5


@pytest.mark.parametrize("text", ["soon", "1.5", "1" * 30])
def test_a_bad_source_date_epoch_is_told(monkeypatch, text):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", text)
    with pytest.raises(ResultError, match="SOURCE_DATE_EPOCH"):
        timestamp()


# --- results folders


def test_a_staged_folder_appears_only_at_the_end_and_replaces_a_result(tmp_path):
    target = result_folder(tmp_path / "results")
    (target / "stale.csv").write_text("old")
    with staged_folder(target) as part:
        assert (target / "points.csv").read_text() == "old"
        write_text(part / "tables" / "rough" / "t.csv", "new")
        write_manifest(part, {})
    assert names(target) == ["manifest.json", "tables"]
    assert names(tmp_path) == ["results"]


@pytest.mark.parametrize("error", [RuntimeError("fit"), KeyboardInterrupt(), OSError(5, "read")])
def test_a_block_that_fails_leaves_the_old_result_and_its_own_error(tmp_path, error):
    target = result_folder(tmp_path / "results")

    def work():
        with staged_folder(target) as part:
            write_manifest(part, {})
            raise error

    with pytest.raises(type(error)):
        work()
    assert (target / "points.csv").read_text() == "old"
    assert names(tmp_path) == ["results"]


@pytest.mark.parametrize("failing", [1, 2])
def test_a_swap_that_fails_leaves_the_old_result(tmp_path, monkeypatch, failing):
    target = result_folder(tmp_path / "results")
    rename, calls = Path.rename, []

    def broken(self, other):
        calls.append(self)
        if len(calls) == failing:
            raise PermissionError(13, "in use")
        return rename(self, other)

    def work():
        with staged_folder(target) as part:
            write_manifest(part, {})
            monkeypatch.setattr(swap, "_exchanged", lambda *_: False)
            monkeypatch.setattr(Path, "rename", broken)

    with pytest.raises(ResultError, match=r"results.*in use.*close programs"):
        work()
    assert (target / "points.csv").read_text() == "old"
    assert names(tmp_path) == ["results"]


def test_a_process_that_dies_leaves_the_old_result(tmp_path):
    target = result_folder(tmp_path / "results")
    code = (
        "import os, sys; from pathlib import Path; "
        "from rigdata.storage.folders import staged_folder, write_manifest\n"
        "with staged_folder(Path(sys.argv[1])) as part:\n"
        "    write_manifest(part, {})\n"
        "    os._exit(9)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(target)], check=False)
    assert done.returncode == 9
    assert (target / "points.csv").read_text() == "old"
    assert is_result(target)


def test_a_folder_of_somebody_else_is_replaced_only_by_force(tmp_path):
    target = tmp_path / "thesis"
    target.mkdir()
    (target / "chapter1.tex").write_text("years of work")
    with (
        pytest.raises(ResultError, match=r"thesis.*not written by rigdata.*--force"),
        staged_folder(target),
    ):
        raise AssertionError("the work must not start")
    assert (target / "chapter1.tex").read_text() == "years of work"
    with staged_folder(target, force=True) as part:
        write_manifest(part, {})
    assert names(target) == ["manifest.json"]


@pytest.mark.parametrize("manifest", ["{}", "[]", '{"program": "other"}', "{", '"rigdata"'])
def test_a_manifest_of_another_program_does_not_count(tmp_path, manifest):
    target = tmp_path / "results"
    target.mkdir()
    (target / "manifest.json").write_text(manifest)
    assert not is_result(target)
    with pytest.raises(ResultError, match="not written by rigdata"):
        check_replaceable(target)


def test_new_and_empty_folders_need_no_force(tmp_path):
    (tmp_path / "empty").mkdir()
    for name in ("empty", "deep/er/new"):
        with staged_folder(tmp_path / name) as part:
            write_manifest(part, {})
        assert is_result(tmp_path / name)


def test_a_folder_with_the_inputs_is_never_replaced(tmp_path, monkeypatch):
    campaign = result_folder(tmp_path / "campaign") / "logs" / "R1.csv"
    campaign.parent.mkdir()
    campaign.write_text("t")
    with pytest.raises(ResultError, match=r"R1\.csv"):
        check_replaceable(tmp_path / "campaign", force=True, keep=[campaign])
    monkeypatch.chdir(campaign.parent)
    with pytest.raises(ResultError, match="would be replaced"):
        check_replaceable(Path(".."), force=True)
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "home")
    with pytest.raises(ResultError, match="home"):
        check_replaceable(tmp_path / "home", force=True)


def test_a_file_is_never_replaced_by_a_folder(tmp_path):
    (tmp_path / "results").write_text("x")
    with pytest.raises(ResultError, match="is a file"):
        check_replaceable(tmp_path / "results", force=True)


def test_a_place_that_cannot_be_written_is_told_before_the_work(tmp_path):
    (tmp_path / "file").write_text("x")
    with (
        pytest.raises(ResultError, match=r"results: cannot be written"),
        staged_folder(tmp_path / "file" / "results"),
    ):
        raise AssertionError("the work must not start")


def test_a_ring_of_links_is_told(tmp_path):
    (tmp_path / "a").symlink_to(tmp_path / "a")
    with pytest.raises(ResultError, match="cannot be followed"):
        write_text(tmp_path / "a", "x")


def test_a_block_without_manifest_is_refused(tmp_path):
    with pytest.raises(ResultError, match=r"manifest\.json"), staged_folder(tmp_path / "r"):
        pass
    assert names(tmp_path) == []


def test_a_linked_results_folder_stays_linked(tmp_path):
    real = result_folder(tmp_path / "disk" / "results")
    (tmp_path / "results").symlink_to(real)
    with staged_folder(tmp_path / "results") as part:
        write_manifest(part, {"version": "new"})
    assert (tmp_path / "results").is_symlink()
    assert read_json(real / "manifest.json")["version"] == "new"
    assert names(tmp_path / "disk") == ["results"]


def test_two_manifests_under_a_fixed_clock_are_equal_byte_by_byte(tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    for name in "ab":
        write_manifest(tmp_path / name, {"x": 1})
    first, second = ((tmp_path / n / "manifest.json").read_bytes() for n in "ab")
    assert first == second
    assert b"1970-01-01T00:00:00Z" in first


@pytest.mark.parametrize("name", ["x" * 5000, "no\0name", "absent"])
def test_a_name_that_no_system_takes_is_no_file(tmp_path, name):
    assert not is_file(tmp_path / name)
    (tmp_path / "there").touch()
    assert is_file(tmp_path / "there")
