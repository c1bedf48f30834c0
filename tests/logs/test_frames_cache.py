"""Frames kept for the next time: the same to the last bit, or read again."""

from __future__ import annotations

import os
from dataclasses import fields
from pathlib import Path

import h5py
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs import frames, frames_cache
from rigdata.logs.frames import ColumnRequest, Frames, read_frames
from rigdata.logs.frames_cache import FramesCache
from rigdata.logs.readers import READERS
from rigdata.logs.text import TextLog

COLUMNS = {
    "torque": ColumnRequest("Torque", high=200.0, spread=True),
    "speed": ColumnRequest("Speed", may_stick=True),
}
SETTINGS = LogSettings(time_column="Time")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A log with most of what frames can tell: flags, a gap, a cut line, a sparse column."""
    rng = np.random.default_rng(3)
    rows = ["bench 7", "Time [s];Torque [N*m];Speed [rpm]"]
    for i in range(3000):
        time = 0.001 * i + (2.0 if i > 2000 else 0.0)
        torque = "" if i % 501 == 7 else f"{100 + rng.normal() + 500.0 * (i == 900):.3f}"
        rows.append(f"{time:.4f};{torque};{5.0 if i % 10 == 0 else '':}")
    path = tmp_path / "R1.csv"
    path.write_text("\n".join(rows) + "\n3.00;4", encoding="utf-8")
    return path


@pytest.fixture
def cache(tmp_path: Path) -> FramesCache:
    return FramesCache(tmp_path / "kept")


@pytest.fixture(scope="module")
def kept_entry(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("log") / "R1.csv"
    path.write_text("Time,Torque,Speed\n" + "".join(f"{i},{i % 7},2\n" for i in range(9)))
    return frames_cache._bytes(read_frames(path, SETTINGS, COLUMNS))


def entries(cache: FramesCache) -> list[Path]:
    return sorted(cache.folder.iterdir())


def assert_same(one: Frames, other: Frames) -> None:
    for field in fields(Frames):
        mine, theirs = getattr(one, field.name), getattr(other, field.name)
        if field.name in ("values", "spread", "flags"):
            assert mine.keys() == theirs.keys()
            for key in mine:
                assert mine[key].tobytes() == theirs[key].tobytes()
                assert mine[key].dtype == theirs[key].dtype
        elif isinstance(mine, np.ndarray):
            assert mine.tobytes() == theirs.tobytes()
        else:
            assert mine == theirs, field.name


def no_parsing(monkeypatch: pytest.MonkeyPatch) -> None:
    def parsed(*_arguments: object, **_asked: object) -> Frames:
        raise AssertionError("the log was parsed again")

    monkeypatch.setattr(frames_cache, "read_frames", parsed)


def test_the_second_time_is_the_first_to_the_last_bit(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh = read_frames(log, SETTINGS, COLUMNS, start_s=0.5)
    assert fresh.notices
    assert fresh.counts["torque"]
    assert_same(cache.frames(log, SETTINGS, COLUMNS, start_s=0.5), fresh)
    no_parsing(monkeypatch)
    again = cache.frames(log, SETTINGS, COLUMNS, start_s=0.5)
    assert_same(again, fresh)
    with pytest.raises(ValueError, match="read-only"):
        again.values["torque"][0] = 1.0
    assert len(entries(cache)) == 1


def test_another_question_is_another_entry(log: Path, cache: FramesCache) -> None:
    cache.frames(log, SETTINGS, COLUMNS)
    cache.frames(log, SETTINGS, COLUMNS, frame_s=0.01)
    cache.frames(log, SETTINGS, {"torque": ColumnRequest("Torque")})
    assert len(entries(cache)) == 3


def test_a_changed_log_is_read_again(log: Path, cache: FramesCache) -> None:
    before = cache.frames(log, SETTINGS, COLUMNS)
    text = log.read_text(encoding="utf-8")
    at = text.index("9", 2000)
    log.write_text(text[:at] + "8" + text[at + 1 :], encoding="utf-8")  # of the same size
    after = cache.frames(log, SETTINGS, COLUMNS)
    assert after.sha256 != before.sha256
    assert_same(after, read_frames(log, SETTINGS, COLUMNS))


def test_a_log_of_another_size_is_not_hashed_to_find_that_out(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.frames(log, SETTINGS, COLUMNS)
    other = log.with_name("R2.csv")
    other.write_text(log.read_text(encoding="utf-8") + "5\n", encoding="utf-8")

    def hashed(_path: Path) -> str:
        raise AssertionError

    monkeypatch.setattr(frames_cache, "sha256", hashed)
    cache.frames(other, SETTINGS, COLUMNS)
    assert len(entries(cache)) == 2


@pytest.mark.parametrize("damage", ["cut", "flip", "empty", "other"])
def test_a_damaged_entry_is_read_anew_and_replaced(
    log: Path, cache: FramesCache, damage: str
) -> None:
    fresh = cache.frames(log, SETTINGS, COLUMNS)
    (entry,) = entries(cache)
    data = bytearray(entry.read_bytes())
    at = len(data) // 3
    data[at] ^= 0x40
    spoilt = {"cut": bytes(data[:at]), "flip": bytes(data), "empty": b"", "other": b"PK\x03\x04"}
    entry.write_bytes(spoilt[damage])
    assert_same(cache.frames(log, SETTINGS, COLUMNS), fresh)
    assert_same(frames_cache._read(entry.read_bytes()), fresh)


@given(st.data())
@settings(max_examples=100, deadline=None)
def test_no_damage_passes(kept_entry: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(kept_entry) - 1))
    if data.draw(st.booleans()):
        spoilt = kept_entry[:at]
    else:
        flip = data.draw(st.integers(1, 255))
        spoilt = kept_entry[:at] + bytes([kept_entry[at] ^ flip]) + kept_entry[at + 1 :]
    with pytest.raises(ValueError, match="damaged"):
        frames_cache._read(spoilt)


def test_notices_name_the_log_from_the_folder_at_hand(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.frames(log, SETTINGS, COLUMNS)
    monkeypatch.chdir(log.parent)
    again = cache.frames(log, SETTINGS, COLUMNS)
    assert_same(again, read_frames(log, SETTINGS, COLUMNS))
    assert {notice.where for notice in again.notices} == {"R1.csv"}


def test_what_a_reader_from_elsewhere_gives_is_not_kept(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    def mine(*arguments: object) -> TextLog:
        return TextLog(*arguments)

    monkeypatch.setitem(READERS, ".csv", mine)
    cache.frames(log, SETTINGS, COLUMNS)
    assert not cache.folder.exists()


def test_a_link_in_place_of_the_folder_is_not_followed(
    log: Path, cache: FramesCache, tmp_path: Path
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    cache.folder.symlink_to(elsewhere)
    cache.frames(log, SETTINGS, COLUMNS)
    assert list(elsewhere.iterdir()) == []


def test_a_link_in_place_of_an_entry_is_replaced_and_its_target_kept(
    log: Path, cache: FramesCache, tmp_path: Path
) -> None:
    cache.frames(log, SETTINGS, COLUMNS)
    (entry,) = entries(cache)
    theirs = tmp_path / "theirs"
    theirs.write_text("years of work")
    entry.unlink()
    entry.symlink_to(theirs)
    cache.frames(log, SETTINGS, COLUMNS)
    assert theirs.read_text() == "years of work"
    assert not entry.is_symlink()


def test_entries_of_other_code_and_unfinished_ones_go(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.frames(log, SETTINGS, COLUMNS)
    old, young = cache.folder / ".0123.part", cache.folder / ".4567.part"
    for part in (old, young):
        part.write_text("unfinished")
    os.utime(old, (0.0, 0.0))
    monkeypatch.setattr(frames_cache, "_code", lambda: "01234567")
    cache.frames(log, SETTINGS, COLUMNS)
    kept, entry = entries(cache)
    assert kept == young
    assert entry.name.startswith("01234567-")


def test_the_oldest_go_when_there_is_too_much(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache.frames(log, SETTINGS, COLUMNS)
    (first,) = entries(cache)
    monkeypatch.setattr(frames_cache, "MOST_BYTES", int(1.5 * first.stat().st_size))
    cache.frames(log, SETTINGS, COLUMNS, start_s=0.001)
    (left,) = entries(cache)
    assert left != first


def test_a_folder_that_cannot_be_written_is_no_fault(log: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    cache = FramesCache(tmp_path / "file" / "kept")
    assert_same(cache.frames(log, SETTINGS, COLUMNS), read_frames(log, SETTINGS, COLUMNS))


def test_a_log_that_changes_while_it_is_read_is_refused(
    log: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = frames.survey

    def slow(*arguments: object, **more: object) -> object:
        with log.open("a", encoding="utf-8") as file:
            file.write("\n")
        return survey(*arguments, **more)

    monkeypatch.setattr(frames, "survey", slow)
    with pytest.raises(LogError, match="changed while it was read"):
        cache.frames(log, SETTINGS, COLUMNS)
    assert not cache.folder.exists()


def test_a_missing_log_is_said_as_ever(cache: FramesCache, tmp_path: Path) -> None:
    with pytest.raises(LogError):
        cache.frames(tmp_path / "nowhere.csv", SETTINGS, COLUMNS)


@pytest.mark.parametrize("name", ["stamps.csv", "channels.h5"])
def test_stamped_logs_and_files_of_channels_are_kept_too(
    tmp_path: Path, cache: FramesCache, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    path, seconds = tmp_path / name, np.arange(50.0)
    if path.suffix == ".h5":
        with h5py.File(path, "w") as file:
            file["Time"], file["Torque"] = seconds, seconds % 7.0
    else:
        rows = "".join(f"14.03.2026 10:15:{i:02d};{i % 7}\n" for i in range(50))
        path.write_text("Time;Torque\n" + rows, encoding="utf-8")
    columns = {"torque": ColumnRequest("Torque")}
    first = cache.frames(path, SETTINGS, columns)
    no_parsing(monkeypatch)
    assert_same(first, cache.frames(path, SETTINGS, columns))
    assert (first.dialect is None) == (path.suffix == ".h5")
