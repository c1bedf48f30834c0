"""What an exporter is."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rigdata.errors import TableError
from rigdata.tables.table import CoefficientTable


@dataclass(frozen=True)
class Exporter:
    """One file format of a coefficient table.

    Attributes
    ----------
    name : str
        As asked for on the command line.
    words : str
        What it writes, for the help.
    write : function (table, folder) -> paths
        Writes its files into the folder of one table and returns them.
    always : bool
        Whether it is written without being asked for.
    """

    name: str
    words: str
    write: Callable[[CoefficientTable, Path], tuple[Path, ...]]
    always: bool = True


def wanted_package(name: str, extra: str) -> Any:
    """Return a package that only one format needs.

    Raises
    ------
    TableError
        When it is not installed; the message says how to get it.
    """
    try:
        return importlib.import_module(name)
    except ImportError:
        raise TableError(
            f"this format needs the package {name}, which is not installed",
            do=f"pip install 'rigdata[{extra}]', or ask for another format",
        ) from None
