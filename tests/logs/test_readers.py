"""A new reader is one function and one line in the registry."""

import numpy as np
import pytest

from rigdata.errors import LogError
from rigdata.logs import readers
from rigdata.logs.block import Block
from rigdata.logs.dialect import Dialect
from rigdata.logs.text import TextLog

DIALECT = Dialect(
    encoding="",
    line_end="",
    delimiter="",
    decimal=".",
    names=("t", "a"),
    units=("s", "N*m"),
    names_line=0,
    units_line=0,
    first_line=0,
    n_fields=2,
    least_fields=2,
    padded=False,
    time_index=0,
    time_unit="s",
    preamble=(),
    remarks=(),
)


class ArrayLog:
    """Three blocks of numbers that a file only stands for."""

    dialect = DIALECT
    notices = ()

    def __init__(self, path, settings, columns, block_bytes):
        self.units = dict.fromkeys(columns, "N*m")
        self._keys = tuple(columns)
        self._data = np.load(path)

    def blocks(self, tally, pool=None):
        for part in np.array_split(self._data, 3):
            yield Block(part[:, 0], dict.fromkeys(self._keys, part[:, 1]))

    def extent(self):
        return float(self._data[-1, 0]), len(self._data)


def test_another_format_gives_frames_like_text(read, tmp_path, monkeypatch):
    monkeypatch.setitem(readers.READERS, ".npy", ArrayLog)
    time = np.arange(5000) / 1000.0
    torque = np.round(np.sin(time) + 0.01 * np.random.default_rng(1).normal(size=5000), 6)
    np.save(tmp_path / "R001.npy", np.column_stack((time, torque)))
    rows = "".join(f"{t:.3f},{value:.6f}\n" for t, value in zip(time, torque, strict=True))
    text = read("Time,Torque\n" + rows)
    other = read(tmp_path / "R001.npy")
    np.testing.assert_array_equal(other.time_s, text.time_s)
    np.testing.assert_array_equal(other.values["torque"], text.values["torque"])
    assert other.units == {"torque": "N*m"}


def test_any_other_suffix_is_text(read):
    rows = "Time,Torque\n0,1\n1,2\n2,3\n"
    for name in ("R001", "R001.dwf", "R001.CSV", "R001.asc"):
        assert read(rows, name=name).n_rows == 3
    assert readers.READERS[".gz"] is TextLog


def test_a_folder_is_no_log(read, tmp_path):
    with pytest.raises(LogError, match="cannot be read"):
        read(tmp_path)
