"""Random tables in random dialects come back as the numbers that went in."""

import contextlib
import datetime
import gzip
import itertools
import random
import string
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
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

    stamped = draw(st.sampled_from(["", "", "%Y-%m-%dT%H:%M:%S", "%H:%M:%S"]))
    if stamped:
        time = time - time[0] + draw(st.sampled_from([0.25, 86_390.0]))  # or about midnight
    point = draw(st.sampled_from(".,")) if delimiter != "," else "."

    def clock(value):
        if not stamped:
            return cell(value, digits=3)
        moment = datetime.datetime(2026, 3, 4) + datetime.timedelta(seconds=float(value))
        return f"{moment:{stamped}}{point}{moment.microsecond // 1000:03d}"

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
        lines.append(line(map(cell, row, blanks), clock(t)))
    text = line_end.join([*lines, ""])
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"]))
    data = text.encode(encoding)
    packed = draw(st.booleans())
    if stamped:
        time = time - np.floor(time[0])
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
        assert np.count_nonzero(kept) >= 0.5 * np.count_nonzero(~blank)  # others look like spikes


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Flip, drop, double or insert bytes here and there."""
    harm = bytearray(data)
    for _ in range(rng.choice([1, 3, 30])):
        at = rng.randrange(len(harm))
        kind = rng.randrange(4)
        if kind == 0:
            harm[at] = rng.randrange(256)
        elif kind == 1:
            del harm[at : min(at + rng.randint(1, 40), len(harm) - 1)]
        elif kind == 2:
            harm[at:at] = harm[at // 2 : at // 2 + rng.randint(1, 60)]
        else:
            harm[at:at] = rng.choice(
                [
                    b"NaN",
                    b"Overrange",
                    b'"',
                    b"\0\0",
                    b"1e400",
                    b",",
                    b"\n",
                    b"\r",
                    b"\x1a",
                    b"9.9E37",
                ]
            )
    return bytes(harm)


@pytest.mark.parametrize("seed", range(80))
def test_a_damaged_log_gives_frames_or_one_clear_error(path, seed):
    rng = random.Random(seed)
    numbers = np.random.default_rng(seed)
    rows = "".join(
        f"{i / 100:.2f},{a:.3f},{b:.3f}\n"
        for i, (a, b) in enumerate(numbers.normal(50.0, 1.0, (rng.choice([5, 40, 400]), 2)))
    )
    path.write_bytes(damaged(f"bench\nTime,Torque,Load\ns,Nm,kN\n{rows}".encode(), rng))
    columns = {"a": ColumnRequest("Torque", low=0.0, high=99.0), "b": ColumnRequest("Load")}
    size = rng.choice([50, 2**20])
    frames = None
    with contextlib.suppress(LogError):  # any other error fails the test
        frames = read_frames(path, LogSettings("Time"), columns, block_bytes=size)
    if frames is None:
        return
    assert np.all(np.diff(frames.time_s) > 0.0)
    for key in columns:
        blank = np.isnan(frames.values[key])
        assert (frames.flags[key][blank] > 0).all()
        assert np.isfinite(frames.values[key][~blank]).all()
