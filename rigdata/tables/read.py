"""A coefficient table back from its folder."""

from __future__ import annotations

from pathlib import Path

from rigdata.errors import TableError
from rigdata.storage.files import sha256
from rigdata.storage.json_files import read_json
from rigdata.tables import csv_table, data_package, json_table
from rigdata.tables.table import CoefficientTable

_CHECKED = (json_table.FILE, csv_table.KINETIC, csv_table.STATIC)


def read_table(folder: Path | str) -> CoefficientTable:
    """Read the table in `folder`, such as ``results/tables/rough/new``.

    Where the folder holds a datapackage.json, the files must be the ones it
    describes, to the byte.

    Raises
    ------
    TableError
        When there is no table, when a file was changed, or when axes and
        arrays do not fit together.
    ResultError
        When a file cannot be read or is not JSON.
    """
    folder = Path(folder)
    path = folder / json_table.FILE
    if not path.is_file():
        raise TableError(
            f"there is no {json_table.FILE}",
            where=str(folder),
            expected="the folder of one material and state, such as results/tables/rough/new",
        )
    descriptor = folder / data_package.FILE
    if descriptor.is_file():
        content = read_json(descriptor)
        stated = data_package.stated_hashes(content) if isinstance(content, dict) else {}
        for name in _CHECKED:
            if name in stated and _hash(folder / name) != stated[name]:
                raise TableError(
                    f"{name} is not the file that {data_package.FILE} describes",
                    where=str(folder),
                    do="Write the table again, or delete datapackage.json if the change was meant.",
                )
    return json_table.from_json(read_json(path), where=str(path))


def _hash(path: Path) -> str:
    return sha256(path) if path.is_file() else "missing"
