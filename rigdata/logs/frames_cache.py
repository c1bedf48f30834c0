"""Frames of logs read before, kept so that the same log need not be parsed again.

An entry is named by hashes of all that its frames follow from: the code that reads,
what is asked of the log, and its bytes.  The size of the log stands in the name too, so
that most new logs are known to be new before they are hashed.  Entries hold arrays and
JSON text, nothing that could run; a damaged one counts as none.  Several processes may
use one folder at once, for each entry is put in place whole.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import io
import json
import os
import secrets
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import Notice, Severity
from rigdata.logs.dialect import Dialect
from rigdata.logs.flags import Flag
from rigdata.logs.frames import ColumnRequest, Frames, read_frames
from rigdata.logs.readers import reader_of
from rigdata.logs.stamps import Clock
from rigdata.storage.files import read_whole, sha256, sha256_bytes

MOST_BYTES = 2**30  # of all entries together; those used longest ago go first
_UNFINISHED_S = 3600.0  # after which an unfinished entry is that of a process that was killed
_ENDING, _PART = ".frames", ".part"
_TEXT = "rest"  # what is no array, as JSON
_OURS = "rigdata.logs."
_PACKAGES = ("rigdata", "numpy", "pandas", "asammdf", "npTDMS", "h5py", "pyarrow")  # that read logs
_CHECKSUM = hashlib.sha256().digest_size


@dataclass(frozen=True)
class FramesCache:
    """A folder of frames.

    Attributes
    ----------
    folder : Path
        Made when something is kept; it may be deleted at any time.
    """

    folder: Path

    def frames(
        self, path: Path, settings: LogSettings, columns: Mapping[str, ColumnRequest], **asked: Any
    ) -> Frames:
        """Return what `read_frames` returns, from the folder where it is kept there.

        Nothing is kept in a folder that is a link, for it may lead anywhere, nor of a log
        whose reader is not of this package, for a change of that could not be seen.

        Raises
        ------
        LogError
            As `read_frames` does.
        """
        if self.folder.is_symlink() or not reader_of(path).__module__.startswith(_OURS):
            return read_frames(path, settings, columns, **asked)
        # Notices name the log as it is shown from the working folder.
        question = repr((shown(path), settings, dict(columns), sorted(asked.items())))
        start = f"{_code()}-{_size(path)}-{sha256_bytes(question.encode())[:16]}-"
        if any(self.folder.glob(f"{start}*{_ENDING}")):
            found = self._kept(start, sha256(path))
            if found is not None:
                return found
        frames = read_frames(path, settings, columns, **asked)
        self._keep(self._place(start, frames.sha256), frames)
        return frames

    def _place(self, start: str, log: str) -> Path:
        return self.folder / f"{start}{log[:24]}{_ENDING}"

    def _kept(self, start: str, log: str) -> Frames | None:
        place = self._place(start, log)
        try:
            frames = _read(read_whole(place, MOST_BYTES))
        except (OSError, ValueError):
            return None
        with contextlib.suppress(OSError):  # a folder to read from alone
            os.utime(place)
        return frames if frames.sha256 == log else None

    def _keep(self, place: Path, frames: Frames) -> None:
        """Write an entry; where that cannot be done the log is parsed again next time."""
        part = self.folder / f".{secrets.token_hex(6)}{_PART}"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            try:
                part.write_bytes(_bytes(frames))
                part.replace(place)
            finally:
                part.unlink(missing_ok=True)
            self._trim()
        except OSError:
            return

    def _trim(self) -> None:
        """Drop entries of other code, what was never finished, and what was longest unused."""
        total, entries = 0, []
        for item in self.folder.iterdir():
            try:
                status = item.lstat()
            except FileNotFoundError:  # another process was first
                continue
            is_entry = item.suffix == _ENDING
            if is_entry and item.name.startswith(f"{_code()}-"):
                total += status.st_size
                entries.append((status.st_mtime_ns, status.st_size, item))
            elif is_entry or (
                item.suffix == _PART and status.st_mtime < time.time() - _UNFINISHED_S
            ):
                item.unlink(missing_ok=True)
        for _, size, item in sorted(entries):
            if total <= MOST_BYTES:
                break
            item.unlink(missing_ok=True)
            total -= size


@functools.cache
def _code() -> str:
    """Return a hash of the code that makes frames of logs: another one may make others."""
    parts = [part.read_bytes() for part in sorted(Path(__file__).parent.glob("*.py"))]
    versions = [f"{name} {_version(name)}".encode() for name in _PACKAGES]
    return sha256_bytes(b"\n".join([*parts, *versions]))[:8]


def _version(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return "none"


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:  # `read_frames` says so
        return -1


def _bytes(frames: Frames) -> bytes:
    """Return an entry: a checksum of all that follows, then arrays and JSON text as npz."""
    arrays: dict[str, Any] = {}
    rest: dict[str, Any] = {}
    for field in fields(frames):
        value = getattr(frames, field.name)
        if isinstance(value, np.ndarray):
            arrays[field.name] = value
        elif field.name in ("values", "spread", "flags"):
            arrays |= {f"{field.name}/{key}": column for key, column in value.items()}
            rest[field.name] = list(value)
        elif field.name == "counts":
            rest[field.name] = {
                column: {flag.name: n for flag, n in counts.items()}
                for column, counts in value.items()
            }
        elif field.name == "notices":
            rest[field.name] = [[n.severity.value, n.where, n.what, n.do] for n in value]
        elif field.name == "dialect":
            rest[field.name] = None if value is None else asdict(value)
        else:
            rest[field.name] = dict(value) if isinstance(value, Mapping) else value
    arrays[_TEXT] = np.frombuffer(json.dumps(rest).encode(), np.uint8)
    file = io.BytesIO()
    np.savez(file, allow_pickle=False, **arrays)
    data = file.getbuffer()
    return b"".join((hashlib.sha256(data).digest(), data))


def _read(entry: bytes) -> Frames:
    """Return the frames of an entry.

    Raises
    ------
    ValueError
        When it is damaged: only a whole one is given to the reader of archives.
    """
    data = memoryview(entry)[_CHECKSUM:]
    if hashlib.sha256(data).digest() != entry[:_CHECKSUM]:
        raise ValueError("the entry is damaged")
    with np.load(io.BytesIO(data), allow_pickle=False) as archive:
        if any(part.compress_type for part in archive.zip.infolist()):
            raise ValueError("is packed, as no entry of ours is")
        arrays = {name: archive[name] for name in archive.files}
    rest = json.loads(arrays.pop(_TEXT).tobytes())
    for name in ("values", "spread", "flags"):
        rest[name] = {key: arrays.pop(f"{name}/{key}") for key in rest[name]}
    rest["counts"] = {
        column: {Flag[name]: n for name, n in counts.items()}
        for column, counts in rest["counts"].items()
    }
    rest["notices"] = tuple(
        Notice(Severity(severity), *words) for severity, *words in rest["notices"]
    )
    told: dict[str, Any] | None = rest["dialect"]
    if told is not None:
        listed = {key: tuple(value) for key, value in told.items() if isinstance(value, list)}
        clock = Clock(**told["clock"]) if told["clock"] else None
        rest["dialect"] = Dialect(**{**told, **listed, "clock": clock})
    return Frames(**rest, **arrays)
