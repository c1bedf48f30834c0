"""One folder in the place of another, and what to do where that was cut short.

Where the system can exchange two names in one step, a killed process leaves either the
old folder or the new one in its place.  Elsewhere there are two renames; a process
killed between them leaves both beside an empty place, and `put_right` brings the old back.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import os
import re
import secrets
import shutil
from pathlib import Path

from rigdata.storage.files import sync_folder

NEW, OLD = ".part", ".old"  # what a folder is called while it is built, and once it is replaced
_EXCHANGE = 2  # RENAME_EXCHANGE of renameat2(2), Linux 3.15
_HERE = -100  # AT_FDCWD
_CANNOT = (errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP)


def swap_in(new: Path, target: Path) -> None:
    """Put `new` in the place of `target`, which becomes `name_of_old`, or change nothing.

    Parameters
    ----------
    new : Path
        From `place_for_new`.
    target : Path
        The place; there need be nothing.

    Raises
    ------
    OSError
        When the system refuses.
    """
    old = name_of_old(new)
    if target.exists() and _exchanged(new, target):
        new.rename(old)
    else:
        try:  # around both, for Ctrl-C may come between them
            if target.exists():
                target.rename(old)
            new.rename(target)
        except BaseException:
            if old.exists() and not target.exists():
                old.rename(target)
            raise
    sync_folder(target.parent)


def put_right(target: Path) -> bool:
    """Undo a swap that was cut short, and clear away what a killed process left.

    Nobody else may be at work on `target`: call it with the folder locked.

    Parameters
    ----------
    target : Path
        The place of the folder.

    Returns
    -------
    bool
        Whether an old folder came back to its place.
    """
    endings = f"({re.escape(NEW)}|{re.escape(OLD)})"
    mine = re.compile(rf"\.{re.escape(target.name)}\.[0-9a-f]{{8}}{endings}")
    left = [path for path in target.parent.iterdir() if mine.fullmatch(path.name)]
    olds = [path for path in left if path.name.endswith(OLD)]
    back = False
    if olds:
        with contextlib.suppress(OSError):  # somebody may have made an empty one since
            target.rmdir()
        if not target.exists():
            olds[0].rename(target)
            back = True
    for path in left:
        shutil.rmtree(path, ignore_errors=True)
    return back


def place_for_new(target: Path) -> Path:
    """Return a path beside `target` that only this work uses."""
    return target.with_name(f".{target.name}.{secrets.token_hex(4)}{NEW}")


def name_of_old(new: Path) -> Path:
    """Return what the old folder is called once `new` has taken its place."""
    return new.with_name(new.name.removesuffix(NEW) + OLD)


def _exchanged(one: Path, other: Path) -> bool:
    """Exchange two names in one step; tell whether the system could."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):  # no such call, or no such library
        return False
    if renameat2(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0:
        return True
    number = ctypes.get_errno()
    if number in _CANNOT:
        return False
    raise OSError(number, os.strerror(number), str(one))
