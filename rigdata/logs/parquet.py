"""Parquet logs, read by the package pyarrow in batches; units from the metadata of the fields."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rigdata.campaign.files import shown
from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.extras import wanted_package
from rigdata.logs.channel_log import ChannelLog
from rigdata.logs.container import Container, Source, check_start, understood
from rigdata.logs.header import split_name

WORDS = "a Parquet file"
_BUFFER = 2**20  # bytes of each column; without it whole row groups are held


def open_parquet(
    path: Path, settings: LogSettings, columns: Mapping[str, str], block_bytes: int
) -> ChannelLog:
    """Open a Parquet log; a `rigdata.logs.readers.Reader`."""
    return ChannelLog(path, WORDS, lambda: _opened(path), settings, columns, block_bytes)


@contextmanager
def _opened(path: Path) -> Iterator[Container]:
    package = wanted_package("pyarrow.parquet", "parquet", LogError)
    arrow = wanted_package("pyarrow", "parquet", LogError)
    check_start(path, (b"PAR1",), WORDS)
    with understood(shown(path), WORDS):
        file = package.ParquetFile(path, buffer_size=_BUFFER, pre_buffer=False)
    try:
        yield _ParquetFile(file, arrow)
    finally:
        file.close()


class _ParquetFile(Container):
    """An open Parquet file; a source is a column."""

    def __init__(self, file: Any, arrow: Any) -> None:
        self._file, self._arrow = file, arrow
        self.sources = [
            Source(
                path=field.name,
                name=field.name,
                group="",
                unit=_unit(field),
                n_rows=file.metadata.num_rows,
                is_number=_is_number(field.type, arrow.types),
            )
            for field in file.schema_arrow
        ]

    def pieces(self, numbers: Sequence[int], step: int) -> Iterator[list[Any]]:
        """Yield columns in batches."""
        names = [self.sources[number].name for number in numbers]
        for batch in self._file.iter_batches(step, columns=list(dict.fromkeys(names))):
            yield [self._values(batch.column(name)) for name in names]

    def ends(self, number: int) -> tuple[Any, Any]:
        """Return the first and the last cell of a column."""
        name = self.sources[number].name
        groups = [
            k
            for k in range(self._file.metadata.num_row_groups)
            if self._file.metadata.row_group(k).num_rows
        ]
        first, last = (
            self._file.read_row_group(k, columns=[name]).column(name)
            for k in (groups[0], groups[-1])
        )
        return (
            self._values(first.slice(0, 1).combine_chunks())[0],
            self._values(last.slice(len(last) - 1).combine_chunks())[0],
        )

    def _values(self, column: Any) -> Any:
        if self._arrow.types.is_decimal(column.type):
            column = column.cast(self._arrow.float64())
        return column.to_numpy(zero_copy_only=False)


def _unit(field: Any) -> str | None:
    for name, value in (field.metadata or {}).items():
        if name.lower() in (b"unit", b"units") and value.strip():
            return str(value.strip().decode("utf-8", "replace"))
    return split_name(field.name)[1]


def _is_number(kind: Any, types: Any) -> bool:
    tests = (types.is_integer, types.is_floating, types.is_boolean, types.is_decimal)
    return any(test(kind) for test in tests)
