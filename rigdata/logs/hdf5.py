"""HDF5 logs, read by the package h5py: one-dimensional datasets, and fields of tables.

There is no standard layout: a channel is named by the path of its dataset, its
time lies in the same group or in one above it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.extras import wanted_package
from rigdata.logs.channel_log import ChannelLog
from rigdata.logs.container import Container, Source, check_start, is_numeric, understood
from rigdata.logs.header import positions

WORDS = "an HDF5 file"
_LONGEST_UNIT = 64
_UNIT_ATTRIBUTES = ("unit", "units", "Unit", "Units")


def open_hdf5(
    path: Path, settings: LogSettings, columns: Mapping[str, str], block_bytes: int
) -> ChannelLog:
    """Open an HDF5 log; a `rigdata.logs.readers.Reader`."""
    return ChannelLog(path, WORDS, lambda: _opened(path), settings, columns, block_bytes)


@contextmanager
def _opened(path: Path) -> Iterator[Container]:
    package = wanted_package("h5py", "hdf5", LogError)
    where = shown(path)
    check_start(path, (b"\x89HDF\r\n\x1a\n",), WORDS)
    with understood(where, WORDS):
        file = package.File(path, "r", locking="best-effort")
    try:
        with understood(where, WORDS):
            container = _Hdf5File(file, package, where)
        yield container
    finally:
        file.close()


class _Hdf5File(Container):
    """An open HDF5 file; a source is a dataset, or one field of a dataset."""

    def __init__(self, file: Any, package: Any, where: str) -> None:
        self._where = where
        self._places: list[tuple[Any, str | None]] = []
        self.sources: list[Source] = []

        def look(path: str, item: Any) -> None:
            if isinstance(item, package.Dataset) and _is_column(item):
                self._add(path, item)

        file.visititems(look)  # links to other files are not followed

    def _add(self, path: str, item: Any) -> None:
        fields = item.dtype.names
        for field in fields or (None,):
            group, _, name = path.rpartition("/")
            kind = item.dtype if field is None else item.dtype[field]
            self._places.append((item, field))
            self.sources.append(
                Source(
                    path=path if field is None else f"{path}/{field}",
                    name=name if field is None else field,
                    group=group if field is None else path,
                    unit=_unit(item) if field is None else None,
                    n_rows=int(item.size),
                    is_number=is_numeric(kind),
                )
            )

    def read(self, number: int, start: int, stop: int) -> Any:
        """Return samples."""
        item, field = self._places[number]
        with understood(self._where, WORDS):
            if field is not None:
                return item.fields(field)[start:stop]
            if item.ndim == 1:
                return item[start:stop]
            return item[start:stop, 0] if item.shape[1] == 1 else item[0, start:stop]

    def time_source(self, number: int, name: str) -> int | None:
        """Return the source `name` of the same group, of one above, or with that path."""
        paths = [source.path for source in self.sources]
        group = self.sources[number].group
        while True:
            found = positions(paths, f"{group}/{name}".strip("/"))
            if len(found) == 1:
                return found[0]
            if not group:
                found = positions(paths, name.strip("/"))
                return found[0] if len(found) == 1 else None
            group = group.rpartition("/")[0]


def _is_column(item: Any) -> bool:
    """Tell whether a dataset is one column that lies in this file itself."""
    flat = item.ndim == 1 or (item.ndim == 2 and 1 in item.shape)
    return bool(flat and not item.is_virtual and not item.external)


def _unit(item: Any) -> str | None:
    for name in _UNIT_ATTRIBUTES:
        if name not in item.attrs:
            continue
        kept = item.attrs.get_id(name)
        if kept.shape != () or kept.dtype.itemsize > _LONGEST_UNIT:
            continue
        value = item.attrs[name]
        if isinstance(value, bytes | np.bytes_):
            value = value.decode("utf-8", "replace")
        if isinstance(value, str) and 0 < len(value.strip()) <= _LONGEST_UNIT:
            return value.strip()
    return None
