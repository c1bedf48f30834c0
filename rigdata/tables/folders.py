"""Safe folder names for materials and states."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

_LONGEST = 60
# Windows keeps these names for devices, with or without an extension.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in "123456789")}  # fmt: skip  # noqa: E501


def folder_names(names: Iterable[str]) -> dict[str, str]:
    """Return a folder name for each of `names`, no two alike on any file system.

    Only plain letters, digits, ``-`` and ``_`` stay; a name never leads out of
    its folder.  Names that come out alike get a number, in order of the alphabet.

    Examples
    --------
    >>> folder_names(["rough / plain", "../x", "ROUGH plain"])
    {'rough / plain': 'rough-plain-2', '../x': 'x', 'ROUGH plain': 'ROUGH-plain'}
    """
    wanted = list(dict.fromkeys(names))
    folders: dict[str, str] = {}
    taken: set[str] = set()
    for name in sorted(wanted):
        stem = _plain(name)
        folder, number = stem, 1
        while folder.casefold() in taken:
            number += 1
            folder = f"{stem}-{number}"
        taken.add(folder.casefold())
        folders[name] = folder
    return {name: folders[name] for name in wanted}


def _plain(name: str) -> str:
    letters = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    plain = re.sub(r"[^A-Za-z0-9_]+", "-", letters).strip("-")[:_LONGEST].strip("-") or "unnamed"
    return f"{plain}-" if plain.casefold() in _DEVICES else plain
