"""Frames of logs read before, kept so that the same log need not be parsed again.

An entry is named by the size of its log and by a hash of all that its frames follow
from: the bytes of the log, what is asked of it, and the code that reads it.  A
log of another size is so known to be new before it is hashed.  Entries hold arrays
and JSON text, nothing that could run; a damaged one counts as none.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import secrets
import zipfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.campaign.rig import LogSettings
from rigdata.errors import Notice, Severity
from rigdata.logs.dialect import Dialect
from rigdata.logs.flags import Flag
from rigdata.logs.frames import ColumnRequest, Frames, read_frames
from rigdata.logs.stamps import Clock
from rigdata.storage.files import opened, sha256, sha256_bytes

MOST_BYTES = 2**30  # of all entries together; those used longest ago go first
_ENDING = ".frames"
_PACKAGES = ("numpy", "pandas", "asammdf", "npTDMS", "h5py", "pyarrow")  # that read logs
_TEXT = "rest"  # what is no array, as JSON


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

        Raises
        ------
        LogError
            As `read_frames` does.
        """
        size = _size(path)
        if any(self.folder.glob(f"{size}-*{_ENDING}")):
            found = self._kept(size, _key(sha256(path), settings, columns, asked))
            if found is not None:
                return found
        frames = read_frames(path, settings, columns, **asked)
        self._keep(size, _key(frames.sha256, settings, columns, asked), frames)
        return frames

    def _kept(self, size: int, key: str) -> Frames | None:
        place = self.folder / f"{size}-{key}{_ENDING}"
        try:
            frames = _read(place)
        except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile, EOFError):
            return None
        with contextlib.suppress(OSError):
            os.utime(place)
        return frames

    def _keep(self, size: int, key: str, frames: Frames) -> None:
        """Write an entry; where that cannot be done the log is parsed again next time."""
        part = self.folder / f".{secrets.token_hex(6)}.part"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            try:
                _write(part, frames)
                part.replace(self.folder / f"{size}-{key}{_ENDING}")
            finally:
                part.unlink(missing_ok=True)
            self._trim()
        except OSError:
            return

    def _trim(self) -> None:
        found = [(entry.stat(), entry) for entry in self.folder.glob(f"*{_ENDING}")]
        total = sum(status.st_size for status, _ in found)
        for status, entry in sorted(found, key=lambda one: one[0].st_mtime_ns):
            if total <= MOST_BYTES:
                break
            entry.unlink(missing_ok=True)
            total -= status.st_size


def _key(
    log: str, settings: LogSettings, columns: Mapping[str, ColumnRequest], asked: Mapping[str, Any]
) -> str:
    wanted = {key: asdict(request) for key, request in columns.items()}
    all_of_it = [_code(), log, asdict(settings), wanted, dict(asked)]
    return sha256_bytes(json.dumps(all_of_it, sort_keys=True).encode())


@functools.cache
def _code() -> str:
    """Return a hash of the code that makes frames of logs: another one may make others."""
    parts = [part.read_bytes() for part in sorted(Path(__file__).parent.glob("*.py"))]
    versions = [f"{name} {_version(name)}".encode() for name in _PACKAGES]
    return sha256_bytes(b"\n".join([*parts, *versions]))


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


def _write(place: Path, frames: Frames) -> None:
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
    with place.open("xb") as file:
        np.savez(file, allow_pickle=False, **arrays)


def _read(place: Path) -> Frames:
    """Return the frames of an entry; the checksums of the archive are checked in passing."""
    with opened(place) as file, np.load(file, allow_pickle=False) as archive:
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
