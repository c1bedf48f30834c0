from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from rigdata.campaign.rig import LogSettings
from rigdata.logs.frames import ColumnRequest, Frames, read_frames


@pytest.fixture
def write(tmp_path) -> Callable[..., Path]:
    """Write text or bytes to a log file and return its path."""

    def do(content: str | bytes, name: str = "R001.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return do


@pytest.fixture
def read(write) -> Callable[..., Frames]:
    """Read a log given as text, bytes or path, with the columns named by key."""

    def do(
        content: str | bytes | Path,
        columns: Mapping[str, str | ColumnRequest] | None = None,
        settings: LogSettings | None = None,
        *,
        name: str = "R001.csv",
        encoding: str = "utf-8",
        **options: object,
    ) -> Frames:
        path = content if isinstance(content, Path) else write(content, name, encoding)
        asked = {"torque": "Torque"} if columns is None else columns
        requests = {
            key: column if isinstance(column, ColumnRequest) else ColumnRequest(column)
            for key, column in asked.items()
        }
        return read_frames(path, settings or LogSettings("Time"), requests, **options)

    return do
