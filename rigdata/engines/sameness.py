"""Whether another machine has the same software and sees the same files.

Results are the same to the last bit only where both are, so a worker of a cluster
compares them before each job.
"""

from __future__ import annotations

import functools
import hashlib
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

_COMPARED = ("numpy", "scipy", "pandas")
_BLOCK = 65_536


@functools.cache
def software() -> dict[str, str]:
    """Return what the last bit of a result may depend on, by name."""
    own = hashlib.sha256()
    package = Path(__file__).parents[1]
    for path in sorted(package.rglob("*.py")):
        own.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    return {
        "rigdata": f"code {own.hexdigest()[:12]}",
        "python": f"{sys.version_info.major}.{sys.version_info.minor} on {sys.platform}",
        **{name: _version(name) for name in _COMPARED},
    }


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "none"


def likeness(path: Path) -> str:
    """Return what two copies of one file share: its size and a hash of three blocks.

    First, middle and last block only, because the file may be large and the way to it
    long; empty where there is no such file.  The hash of all of it is worked out by
    whoever reads it.
    """
    try:
        with path.open("rb") as file:
            size = file.seek(0, 2)
            content = hashlib.sha256()
            for start in (0, (size - _BLOCK) // 2, size - _BLOCK):
                file.seek(max(start, 0))
                content.update(file.read(_BLOCK))
    except OSError:
        return ""
    return f"{size} {content.hexdigest()}"
