"""A campaign under way: waiting until one of its files has changed and come to rest."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

INTERVAL_S = 2.0  # between looks; a log still being written changes within it (common practice)

Stamps = Mapping[Path, tuple[int, int] | None]


def stamps(files: Iterable[Path]) -> Stamps:
    """Return time of change and size of each file, None where there is none."""
    return {path: _stamp(path) for path in files}


def wait_for_change(seen: Stamps, *, wait: Callable[[float], None] = time.sleep) -> None:
    """Wait until a file is no longer as it was seen, and is at rest.

    Parameters
    ----------
    seen : mapping of Path to stamps
        How the files were, from `stamps`.
    wait : callable
        Waits so many seconds.

    Notes
    -----
    A file is at rest when its time and size are the same at two looks: half a log is
    no log.
    """
    before = seen
    while True:
        wait(INTERVAL_S)
        now = stamps(seen)
        if any(now[path] != seen[path] and now[path] == before[path] for path in seen):
            return
        before = now


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size
