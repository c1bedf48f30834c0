"""What an exporter is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

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
