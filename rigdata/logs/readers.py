"""Which reader opens which log.

A reader is a function that returns an `OpenLog`.  A new one is one file and one
line in `READERS`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from rigdata.campaign.rig import LogSettings
from rigdata.logs.block import OpenLog
from rigdata.logs.hdf5 import open_hdf5
from rigdata.logs.mdf import open_mdf
from rigdata.logs.parquet import open_parquet
from rigdata.logs.tdms import open_tdms
from rigdata.logs.text import TextLog

Reader = Callable[[Path, LogSettings, Mapping[str, str], int], OpenLog]

# By file suffix, in lower case; any other suffix is delimited text.
READERS: dict[str, Reader] = {
    ".csv": TextLog,
    ".txt": TextLog,
    ".gz": TextLog,
    ".mf4": open_mdf,
    ".mdf": open_mdf,
    ".tdms": open_tdms,
    ".h5": open_hdf5,
    ".hdf5": open_hdf5,
    ".parquet": open_parquet,
}


def open_log(
    path: Path, settings: LogSettings, columns: Mapping[str, str], block_bytes: int
) -> OpenLog:
    """Open a log with the reader for its suffix.

    Parameters
    ----------
    path : Path
        The log.
    settings : LogSettings
        What the rig file says about the logs.
    columns : mapping of str to str
        Wanted column for each key.
    block_bytes : int
        Size of the blocks in which to read.

    Raises
    ------
    LogError
        When the log cannot be read or a column is not there.
    """
    return reader_of(path)(path, settings, columns, block_bytes)


def reader_of(path: Path) -> Reader:
    """Return the reader for the suffix of a log."""
    return READERS.get(path.suffix.lower(), TextLog)
