"""Random tables in random dialects come back as the numbers that went in."""

import gzip
import itertools
import string
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rigdata.campaign.rig import LogSettings
from rigdata.logs.flags import Flag
from rigdata.logs.frames import ColumnRequest, read_frames

MARKS = [pair for pair in itertools.product((",", ";", "\t", "|", " "), ".,") if pair != (",", ",")]
WORDS = string.ascii_letters + "äöüµ°"


@st.composite
def logs(draw):
    """A table, the bytes of its log and the columns asked for."""
    n_rows = draw(st.integers(3, 60))
    n_columns = draw(st.integers(1, 5))
    decimals = draw(st.integers(0, 6))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    scale = 10.0 ** draw(st.integers(-2, 5))
    values = np.round(rng.normal(0.0, scale, (n_rows, n_columns)), decimals)
    time = draw(st.sampled_from([0.0, -5.0, 1e6])) + np.cumsum(rng.integers(4, 6, n_rows)) / 8.0
    missing = rng.random((n_rows, n_columns)) < draw(st.sampled_from([0.0, 0.0, 0.05]))
    names = draw(
        st.lists(
            st.text(WORDS, min_size=2, max_size=9).filter(lambda name: name.casefold() != "clock"),
            min_size=n_columns,
            max_size=n_columns,
            unique=True,
        )
    )
    delimiter, decimal = draw(st.sampled_from(MARKS))
    line_end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    token = draw(st.sampled_from(["NaN", "--.--", "n/a"]))
    pad = draw(st.sampled_from(["", "14"]))
    trailing = draw(st.sampled_from(["", delimiter])) if delimiter != " " else ""
    place = draw(st.integers(0, n_columns))

    def cell(value, blank=False, digits=decimals):
        return token if blank else f"{value:{pad}.{digits}f}".replace(".", decimal)

    def line(cells, clock):
        cells = list(cells)
        return delimiter.join([*cells[:place], clock, *cells[place:]]) + trailing

    lines = ["Bench report" for _ in range(draw(st.integers(0, 4)))]
    lines.append(line(names, "clock"))
    if draw(st.booleans()):
        lines.append(line(["N*m"] * n_columns, "s"))
    for t, row, blanks in zip(time, values, missing, strict=True):
        lines.append(line(map(cell, row, blanks), cell(t, digits=3)))
    text = line_end.join([*lines, ""])
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"]))
    data = text.encode(encoding)
    packed = draw(st.booleans())
    return time, np.where(missing, np.nan, values), names, gzip.compress(data) if packed else data


@pytest.fixture(scope="module")
def path(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("logs") / "R001.log"


@settings(
    max_examples=120,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=logs(), block_bytes=st.sampled_from([37, 400, 2**22]))
def test_what_is_written_is_read(case, block_bytes, path):
    time, values, names, data = case
    path.write_bytes(data)
    columns = {str(i): ColumnRequest(name, may_stick=True) for i, name in enumerate(names)}
    frames = read_frames(path, LogSettings("clock"), columns, block_bytes=block_bytes)
    np.testing.assert_array_equal(frames.time_s, np.round(time, 3))
    for i in range(len(names)):
        kept = (frames.flags[str(i)] & ~np.uint8(Flag.STUCK)) == 0
        blank = np.isnan(values[:, i])
        assert not kept[blank].any()
        np.testing.assert_allclose(
            frames.values[str(i)][kept], values[kept, i], rtol=1e-14, atol=1e-300
        )
        assert np.count_nonzero(kept) >= 0.5 * time.size  # the others look like spikes
