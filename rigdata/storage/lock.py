"""One at a time: a lock file beside a results folder, gone when its owner is.

The system holds the lock and drops it when the process ends, however it ends, so that
no lock outlives its owner.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from rigdata.errors import ResultError
from rigdata.storage.files import real_path, unwritable
from rigdata.storage.swap import put_right

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_MINUTE_S = 60.0
_BEYOND = 2**30  # a byte past what is written, so that others may read who holds the lock


@contextlib.contextmanager
def owned(folder: Path, work: str) -> Iterator[None]:
    """Be the only one to work on a folder of results.

    What a killed process has left beside it is put right first.

    Parameters
    ----------
    folder : Path
        It need not be there yet.
    work : str
        What is done, for those who come meanwhile.

    Raises
    ------
    ResultError
        When another process is at work on it; the message says which, and since when.
    """
    target = real_path(folder)
    place = target.with_name(f".{target.name}.lock")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        file = _taken(place, folder)
    except OSError as error:
        raise unwritable(folder, error) from error
    try:
        put_right(target, whole=target.exists())
        _sign(file, work)
        yield
    finally:
        with contextlib.suppress(OSError):
            place.unlink()
        file.close()


def _taken(place: Path, folder: Path) -> IO[str]:
    """Return the lock file, opened and locked."""
    while True:
        file = open(place, "a+", encoding="utf-8", opener=_no_link)  # noqa: SIM115
        try:
            _lock(file)
        except BlockingIOError:
            owner = _owner(file)
            file.close()
            raise ResultError(
                f"another rigdata is at work on these results ({owner})",
                where=str(folder),
                do="Wait until it is done, or name another folder with --out",
            ) from None
        # Its last owner may have removed it between our opening and our locking it.
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(file.fileno()), place.stat()):
                return file
        file.close()


def _no_link(name: str, flags: int) -> int:
    """Open the lock file itself: a link in its place could lead to any file of ours."""
    return os.open(name, flags | getattr(os, "O_NOFOLLOW", 0), 0o666)


def _lock(file: IO[str]) -> None:
    if sys.platform == "win32":
        file.seek(_BEYOND)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError as error:
            raise BlockingIOError from error
    else:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _sign(file: IO[str], work: str) -> None:
    told = {"work": work, "process": os.getpid(), "host": socket.gethostname()}
    file.truncate(0)
    file.write(json.dumps({**told, "since": time.time()}))
    file.flush()


def _owner(file: IO[str]) -> str:
    """Return who holds a lock, in words."""
    file.seek(0)
    try:
        told = json.loads(file.read())
        minutes = (time.time() - float(told["since"])) / _MINUTE_S
        age = f"{minutes:.0f} min" if minutes >= 1.0 else "less than a minute"
        return f"'{told['work']}', process {told['process']} on {told['host']}, since {age}"
    except (OSError, ValueError, KeyError, TypeError):
        return "it has only just begun"
