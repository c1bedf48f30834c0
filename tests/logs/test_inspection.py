"""A whole look at a log says what is there, and guesses no time column."""

import random
from contextlib import suppress

import h5py
import numpy as np
import pytest

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError, Severity
from rigdata.logs.extremes import PIXELS
from rigdata.logs.flags import Flag
from rigdata.logs.inspection import look_at

TIME = np.arange(4000) / 200.0
TORQUE = np.round(50.0 + 5.0 * np.sin(TIME) + 0.2 * np.random.default_rng(2).normal(size=4000), 4)


def table(names="Time [s];Torque [Nm]", columns=(TIME, TORQUE), head="Bench 3\nOperator;N. N.\n"):
    rows = "".join(";".join(f"{v:.4f}" for v in row) + "\n" for row in zip(*columns, strict=True))
    return f"{head}{names}\n{rows}"


def test_numbers_of_a_plain_log(write):
    path = write(table())
    look = look_at(path)
    (torque,) = look.columns
    assert (torque.name, torque.unit, torque.n_samples) == ("Torque [Nm]", "Nm", 4000)
    found = (torque.first, torque.last, torque.low, torque.high)
    assert found == (TORQUE[0], TORQUE[-1], TORQUE.min(), TORQUE.max())
    assert (look.start_s, look.end_s) == (0.0, TIME[-1])
    assert look.sample_s == pytest.approx(0.005)
    assert look.settings == LogSettings("Time [s]")
    assert look.format == "delimited text"
    assert (look.dialect.names_line, look.dialect.first_line) == (3, 4)
    assert look.gaps == ()
    assert not torque.counts


def test_lowest_and_highest_of_each_stretch(write):
    look = look_at(write(table()))
    (torque,) = look.columns
    assert torque.lows.size == torque.highs.size == PIXELS == look.edges_s.size - 1
    place = np.searchsorted(look.edges_s, TIME, side="right") - 1
    for number in (0, 450, PIXELS - 3):
        inside = TORQUE[place == number]
        assert torque.lows[number] == inside.min()
        assert torque.highs[number] == inside.max()


def test_flags_with_their_places_and_gaps(write):
    torque = TORQUE.copy()
    torque[1000], torque[2000] = 400.0, -9999.0
    time = TIME + np.where(TIME >= 15.0, 2.0, 0.0)
    look = look_at(write(table(columns=(time, torque))))
    (column,) = look.columns
    assert dict(column.counts) == {Flag.SPIKE: 1, Flag.MISSING: 1, Flag.GAP: 1}
    assert column.marks[Flag.SPIKE] == pytest.approx([5.0], abs=0.03)
    assert column.marks[Flag.MISSING] == pytest.approx([10.0], abs=0.03)
    assert look.gaps == ((pytest.approx(14.995, abs=0.01), pytest.approx(17.0, abs=0.01)),)
    assert column.high == 400.0  # as it is logged
    assert column.n_samples == 3999


def test_rows_whose_time_does_not_rise_take_no_part(write):
    torque = TORQUE.copy()
    time = TIME.copy()
    time[3000:3100], torque[3000:3100] = 1.0, 999.0
    look = look_at(write(table(columns=(time, torque))))
    assert look.columns[0].high < 60.0
    assert "100 rows left out" in str(look.notices[-1])


def test_text_doubled_names_and_a_range(write):
    rows = "".join(f"{i / 10};{i % 9};{i};{i};running\n" for i in range(100))
    path = write("Time;Torque;Load;Load;State\n" + rows)
    look = look_at(path, ranges={"Torque": (0.0, 7.5)})
    assert [column.name for column in look.columns] == ["Torque"]
    assert look.columns[0].counts[Flag.SATURATED] == 11
    assert look.others == ("State",)
    assert "'Load' is the name of 2 columns" in str(look.notices[-1])


def test_a_column_with_a_bad_cell_is_left_out_and_the_rest_is_read(write):
    rows = "".join(f"{i / 10};{i % 9};{'bad' if i == 1500 else i}\n" for i in range(2000))
    look = look_at(write("Time;Torque;Load\n" + rows))
    assert [column.name for column in look.columns] == ["Torque"]
    assert look.notices[-1].severity is Severity.LEFT_OUT
    assert "line 1502, column 'Load': 'bad' is not a number" in str(look.notices[-1])
    alone = "".join(f"{i / 10};{'bad' if i == 1500 else i}\n" for i in range(2000))
    with pytest.raises(LogError, match=r"line 1502.*'bad' is not a number"):
        look_at(write("Time;Load\n" + alone))


@pytest.mark.parametrize(
    ("header", "time"),
    [
        ("Time;a;b", "Time"),
        ("a;Zeit [s];b", "Zeit [s]"),
        ("a;b;t", "t"),
        ("a;elapsed_time_s;b", "elapsed_time_s"),
        ("a;X [ms];b", "X [ms]"),
        ("a;Time constant;Time", "Time"),
    ],
)
def test_the_time_is_found_by_its_name_or_unit(write, header, time):
    index = header.split(";").index(time)
    rows = [[f"{7 - i % 5}.5"] * 3 for i in range(50)]
    for i, row in enumerate(rows):
        row[index] = f"{i / 10:.1f}"
    text = "".join(";".join(row) + "\n" for row in rows)
    assert look_at(write(f"{header}\n{text}")).settings.time_column == time


def test_stamps_are_the_time_whatever_they_are_called(write):
    rows = "".join(f"{i % 3};2026-03-04 10:15:{i:02d}\n" for i in range(50))
    look = look_at(write("Torque;When\n" + rows))
    assert look.settings.time_column == "When"
    assert look.end_s == 49.0


@pytest.mark.parametrize("header", ["Run;Load", "Reading;Correction", "Date;Load"])
def test_no_time_is_guessed(write, header):
    rows = "".join(f"{i};{i * 3 % 7}.5\n" for i in range(50))
    with pytest.raises(LogError, match=r"no column is plainly the time.*State.*--time"):
        look_at(write(f"{header}\n{rows}"))
    assert look_at(write(f"{header}\n{rows}"), LogSettings(header.split(";")[0])).n_rows == 50


def test_a_table_below_a_long_header_with_numbers_of_its_own(write):
    head = "Channels;2\nRate;200\nBlock;4\nGain;2,5\n\n" + "".join(
        f"Note {i};x;y;z\n" for i in range(90)
    )
    look = look_at(write(table(head=head)))
    assert look.dialect.names_line == 96
    assert look.columns[0].n_samples == 4000


@pytest.mark.parametrize("content", ["only prose\nin two lines\n", "1;2\n3;4\n5;6\n", "a;b\n"])
def test_no_table(write, content):
    with pytest.raises(LogError, match="no line of column names above lines of numbers"):
        look_at(write(content))


def test_a_log_with_nothing_but_time(write):
    with pytest.raises(LogError, match="no column holds numbers besides the time"):
        look_at(write("Time;State\n" + "".join(f"{i};on\n" for i in range(20))))


def test_a_file_of_channels(tmp_path):
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["log/time"], file["log/torque"] = TIME, TORQUE
        file["log/torque"].attrs["unit"] = "Nm"
    look = look_at(tmp_path / "R.h5")
    assert (look.format, look.settings.time_column, look.dialect) == ("an HDF5 file", "time", None)
    assert [(c.name, c.unit, c.high) for c in look.columns] == [("torque", "Nm", TORQUE.max())]


@pytest.mark.parametrize("seed", range(60))
def test_a_damaged_log_gives_a_look_or_one_clear_error(write, seed):
    rng = random.Random(seed)
    stamps = seed % 2 == 0
    rows = "".join(
        f"{f'10:15:{i:02d}.5' if stamps else f'{i / 10:.1f}'};{i % 7}.5;{i};on\n" for i in range(60)
    )
    data = bytearray(f"bench\nTime;Torque;Load;State\n{rows}".encode())
    for _ in range(rng.choice([1, 3, 30])):
        at = rng.randrange(len(data))
        kind = rng.randrange(3)
        if kind == 0:
            data[at] = rng.randrange(256)
        elif kind == 1:
            del data[at : at + rng.randint(1, 40)]
        else:
            data[at:at] = rng.choice([b'"', b"\0", b"\n", b";", b"\x1b[31m", b"99:99:99", b"1e400"])
    with suppress(LogError):  # any other error fails the test
        look = look_at(write(bytes(data)))
        assert look.end_s > look.start_s
        assert all(column.n_samples <= look.n_rows for column in look.columns)
