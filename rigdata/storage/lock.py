"""One at a time: a lock file beside a results folder, gone when its owner is.

The system holds the lock and drops it when the process ends, however it ends, so that
no lock outlives its owner.
"""

from __future__ import annotations

import contextlib
import json
import logging
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

_log = logging.getLogger(__name__)
_held: set[IO[str]] = set()  # by this process

_MINUTE_S = 60.0
_BEYOND = 2**30  # a byte past what is written, so that others may read who holds the lock


@contextlib.contextmanager
def owned(folder: Path, work: str) -> Iterator[None]:
    """Be the only one to work on a folder of results.

    What a killed process has left beside it is put right first, which is told as a
    warning of the log `rigdata.storage.lock` (on standard error, unless told otherwise):
    among the notices it would make the results differ from those of an undisturbed run.

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
    _held.add(file)
    try:
        _clear_up(file, target, folder)
        _sign(file, work)
        yield
    finally:
        _held.discard(file)
        with contextlib.suppress(OSError):
            place.unlink()
        file.close()


def _let_go() -> None:
    """Close what a fork has inherited: else it would hold the lock for a parent that is gone."""
    for file in _held:
        file.close()
    _held.clear()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_let_go)


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
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise
        except OSError as error:  # some network drives know no locks
            _log.warning(
                "%s: cannot be locked (%s); start nothing else on these results meanwhile",
                file.name,
                error.strerror,
            )


def _clear_up(file: IO[str], target: Path, folder: Path) -> None:
    """Put right what an owner that was killed has left, and say so."""
    file.seek(0)
    killed = bool(file.read(1))  # who ends in any other way removes the file
    back = put_right(target)
    if killed or back:
        _log.warning(
            "%s: an earlier work on these results was killed (%s); what it left half done is "
            "cleared away%s",
            folder,
            _owner(file),
            ", and the results from before it are back" if back else "",
        )


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
        return f"'{told['work']}', process {told['process']} on {told['host']}, begun {age} ago"
    except (OSError, ValueError, KeyError, TypeError):
        return "it does not say which"
