"""Coefficient tables into their folders."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from rigdata.friction.results import Group
from rigdata.tables.exporters import chosen_exporters
from rigdata.tables.folders import folder_names
from rigdata.tables.table import CoefficientTable


def write_tables(
    tables: Mapping[Group, CoefficientTable], folder: Path | str, *, formats: Iterable[str] = ()
) -> tuple[Path, ...]:
    """Write each table into ``folder/<material>/<state>/``.

    Parameters
    ----------
    tables : mapping of Group to CoefficientTable
        Such as `build_tables` returns.
    folder : path
        Usually ``results/tables``.
    formats : iterable of str
        Formats beside those that are always written; see `EXPORTERS`.

    Returns
    -------
    tuple of Path
        The files written, relative to `folder`.

    Raises
    ------
    TableError
        When a format is unknown.
    ResultError
        When a file cannot be written.
    """
    root = Path(folder)
    exporters = chosen_exporters(formats)
    places = table_folders(tables)
    written: list[Path] = []
    for group, table in tables.items():
        place = root / places[group]
        place.mkdir(parents=True, exist_ok=True)
        for exporter in exporters:
            written += [path.relative_to(root) for path in exporter.write(table, place)]
    return tuple(written)


def table_folders(groups: Iterable[Group]) -> dict[Group, Path]:
    """Return the folder of each group's table, ``<material>/<state>``."""
    wanted = list(groups)
    materials = folder_names(group.material for group in wanted)
    states = {
        name: folder_names(group.state for group in wanted if group.material == name)
        for name in materials
    }
    return {g: Path(materials[g.material], states[g.material][g.state]) for g in wanted}
