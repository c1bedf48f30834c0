"""Single files: written whole or not at all, hashed, never replaced unasked.

A file is written beside its place and renamed into it, so that whatever interrupts the
work, the old one stays whole.
"""

from __future__ import annotations

import contextlib
import datetime
import errno
import hashlib
import io
import os
import secrets
import stat
import time
from collections.abc import Iterable
from pathlib import Path

from rigdata.errors import ResultError


def opened(path: Path) -> io.BufferedReader:
    """Open a file to read its bytes; a pipe or a device, which could make us wait, is refused.

    Raises
    ------
    OSError
        When it cannot be read or is no regular file.
    """
    file = open(path, "rb", opener=_without_waiting)  # noqa: SIM115 (Path.open has none)
    if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        file.close()
        raise OSError(errno.EINVAL, "it is no regular file")
    return file


def _without_waiting(name: str, flags: int) -> int:
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))


def read_whole(path: Path, most: int) -> bytes:
    """Return the bytes of a file that holds no more than `most`.

    Raises
    ------
    OSError
        When it cannot be read, is no regular file, or holds more.
    """
    with opened(path) as file:
        # So many bytes are set aside at once: what it holds now, and one to see whether it grows.
        data = file.read(min(most, os.fstat(file.fileno()).st_size) + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it holds more than {most // 10**6} MB")
    return data


def is_file(path: Path) -> bool:
    """Tell whether there is a file; none has a name that the system does not take."""
    with contextlib.suppress(OSError):
        return path.is_file()
    return False


def is_folder(path: Path) -> bool:
    """Tell the same of a folder."""
    with contextlib.suppress(OSError):
        return path.is_dir()
    return False


def sha256(path: Path) -> str:
    """Return the SHA-256 of the raw bytes of the file `path`, in hexadecimal."""
    with opened(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sha256_bytes(data: bytes) -> str:
    """Return the SHA-256 of `data`, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def timestamp() -> str:
    """Return the time now in UTC, as ``2026-03-01T12:00:00Z``.

    The environment variable ``SOURCE_DATE_EPOCH`` (seconds since 1970) takes
    the place of the clock, so that a result can be made again byte by byte.

    Raises
    ------
    ResultError
        When ``SOURCE_DATE_EPOCH`` is not a whole number of seconds.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "").strip()
    try:
        seconds = int(fixed) if fixed else int(time.time())
        moment = datetime.datetime.fromtimestamp(seconds, tz=datetime.UTC)
    except (ValueError, OverflowError, OSError):
        raise ResultError(
            f"'{fixed}' is not a time",
            where="environment variable SOURCE_DATE_EPOCH",
            expected="whole seconds since 1970",
        ) from None
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def write_text(path: Path, text: str) -> None:
    r"""Write `text` to `path` in UTF-8 with ``\n`` line ends, whole or not at all.

    Raises
    ------
    ResultError
        When the file cannot be written; an older file of that name is intact.
    """
    write_bytes(path, text.replace("\r\n", "\n").encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write `data` to `path`, whole or not at all; missing folders are made.

    Raises
    ------
    ResultError
        When the file cannot be written; an older file of that name is intact.
    """
    target = real_path(path)
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise unwritable(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink()


def check_new(paths: Iterable[Path], *, force: bool = False) -> None:
    """Check that files which no manifest knows may be written, before the work is done.

    Raises
    ------
    ResultError
        When one of them is there already, unless with `force`.
    """
    for path in paths:
        if os.path.lexists(path) and not force:
            raise ResultError(
                "the file is there already",
                where=str(path),
                expected="a new file",
                do="Name another place, or use --force to replace it",
            )


def real_path(path: Path) -> Path:
    """Return `path` with links followed, so that a link is kept and its target written."""
    try:
        return path.resolve()
    except (OSError, RuntimeError) as error:  # RuntimeError: a ring of links
        raise ResultError(f"the path cannot be followed ({error})", where=str(path)) from error


def sync_folder(folder: Path) -> None:
    """Make what was renamed in `folder` outlast a power failure, where the system can."""
    with contextlib.suppress(OSError):  # Windows cannot open a folder; the rename is done
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def sync_all(folder: Path) -> None:
    """Bring a folder with all it holds to the disk, where the system can."""
    for path in (*folder.rglob("*"), folder):
        if path.is_dir():
            sync_folder(path)
        else:
            with path.open("rb") as file, contextlib.suppress(OSError):
                os.fsync(file.fileno())  # Windows asks for writing; `write_bytes` has done it


def unwritable(path: Path, error: OSError) -> ResultError:
    """Return the error for a file or folder that the system refused to write."""
    return ResultError(
        f"cannot be written ({error.strerror or error})",
        where=str(path),
        do="Check the free space and the permissions, and close programs that have it open",
    )
