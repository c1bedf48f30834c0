"""Every dialect a logger may write comes out as the same numbers."""

import itertools
from collections import Counter

import numpy as np
import pytest

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs import names_line
from rigdata.logs.dialect import detect
from rigdata.logs.header import split_line
from rigdata.logs.names_line import find_header
from rigdata.logs.rawbytes import is_wide

TIME = np.round(np.arange(40) * 0.25, 2)
TORQUE = np.round(100.0 + 7.25 * np.sin(TIME), 3)
LOAD = np.round(2.5 + 0.125 * np.cos(TIME), 4)

ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be")
MARKS = [pair for pair in itertools.product((",", ";", "\t", "|", " "), ".,") if pair != (",", ",")]
LINE_ENDS = ("\n", "\r\n", "\r")
UNITS = ("none", "row", "bracketed row", "brackets")
HEADERS = (0, 1, 7)


def written(delimiter, decimal, line_end, units, header, *, trailing="", pad="", quote=""):
    names = ["Time", "Torque", "Load"]
    if units == "brackets":
        names = ["Time [s]", "Torque [N·m]", "Load (kN)"]
    lines = ["Prüfstand 3"] * bool(header)
    lines += [f"Key {i}:{delimiter}value; of, this|one" for i in range(header - 1)]
    lines += [delimiter.join(f"{quote}{name}{quote}" for name in names) + trailing]
    if units == "row":
        lines += [delimiter.join(("s", "N·m", "kN")) + trailing]
    elif units == "bracketed row":
        lines += [delimiter.join(("[s]", "[N·m]", "[kN]")) + trailing]
    for row in zip(TIME, TORQUE, LOAD, strict=True):
        cells = [f"{value:{pad}.4f}".replace(".", decimal) for value in row]
        lines.append(delimiter.join(cells) + trailing)
    return line_end.join([*lines, ""])


def holds(frames):
    np.testing.assert_array_equal(frames.time_s, TIME)
    np.testing.assert_array_equal(frames.values["torque"], TORQUE)
    np.testing.assert_array_equal(frames.values["load"], LOAD)
    assert not any(frames.flags["torque"])
    assert not any(frames.flags["load"])
    assert frames.n_rows == TIME.size


@pytest.fixture
def check(read):
    def do(text, settings=None, **options):
        frames = read(text, {"torque": "Torque", "load": "Load"}, settings, **options)
        holds(frames)
        return frames

    return do


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize(("delimiter", "decimal"), MARKS)
@pytest.mark.parametrize("line_end", LINE_ENDS, ids=["lf", "crlf", "cr"])
def test_encodings_marks_and_line_ends(check, encoding, delimiter, decimal, line_end):
    text = written(delimiter, decimal, line_end, "row", 1)
    frames = check(text, encoding=encoding)
    found = frames.dialect
    assert (found.delimiter, found.decimal, found.line_end) == (delimiter, decimal, line_end)
    assert (found.names_line, found.units_line, found.first_line) == (2, 3, 4)
    assert frames.units == {"torque": "N·m", "load": "kN"}
    assert found.encoding == ("utf-8" if encoding == "utf-8" else encoding)


@pytest.mark.parametrize(("delimiter", "decimal"), MARKS)
@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("header", HEADERS)
def test_units_and_header_blocks(check, delimiter, decimal, units, header):
    frames = check(written(delimiter, decimal, "\n", units, header))
    found = frames.dialect
    assert found.names_line == header + 1
    assert found.units_line == (header + 2 if "row" in units else 0)
    if units == "none":
        assert frames.units == {"torque": None, "load": None}
        assert "taken as seconds" in str(frames.notices[0])
    else:
        assert frames.units == {"torque": "N·m", "load": "kN"}
        assert frames.notices == ()


@pytest.mark.parametrize(("delimiter", "decimal"), MARKS)
def test_padded_cells_quoted_names_and_trailing_delimiters(check, delimiter, decimal):
    check(written(delimiter, decimal, "\n", "row", 2, pad="12"))
    check(written(delimiter, decimal, "\n", "brackets", 2, quote='"'))
    if delimiter != " ":
        check(written(delimiter, decimal, "\n", "row", 2, trailing=delimiter))
        check(written(delimiter, decimal, "\n", "row", 0, pad="9", trailing=2 * delimiter))


def test_trailing_delimiters_on_the_rows_only(check):
    text = written(";", ",", "\r", "none", 0, pad="10")
    first, rest = text.split("\r", 1)
    check(first + ";\r" + rest.replace("\r", ";;\r"))
    check(first + "\r" + rest.replace("\r", ";\r"))


@pytest.mark.parametrize("line", ["sep=;", '"sep=;"', "SEP=;"])
def test_a_sep_line_is_honoured(check, line):
    frames = check(f"{line}\n" + written(";", ",", "\n", "row", 3))
    assert frames.dialect.delimiter == ";"
    assert frames.dialect.names_line == 5


def test_a_header_longer_than_the_first_look(check):
    long = "".join(f"setting {i}; {'x' * 200}\n" for i in range(4000))
    frames = check(long + written(";", ",", "\n", "row", 0))
    assert frames.dialect.names_line == 4001


def test_the_names_may_stand_in_the_header_block_too(check):
    block = "Time;10:15:00\nTorque;cell 7\nLoad;cell 9\nOperator;N. N.\n\n"
    assert check(block + written(";", ",", "\n", "row", 0)).dialect.names_line == 6


def test_a_list_of_channels_above_the_names(check):
    block = "Time;Torque;Load\nfrom;bus;bus\nslot 1;slot 2;slot 3\n"
    assert check(block + written(";", ",", "\n", "row", 0)).dialect.names_line == 4


def test_blank_lines_count_as_lines(check):
    text = written(",", ".", "\n", "row", 2).replace("Time", "\n\nTime", 1)
    found = check(text).dialect
    assert (found.names_line, found.units_line, found.first_line) == (5, 6, 7)


def test_a_line_between_names_and_data_is_told(check):
    text = written(";", ".", "\n", "row", 0).replace("s;N", "main clock;cell 7;cell 9\ns;N", 1)
    frames = check(text)
    assert (frames.dialect.units_line, frames.dialect.first_line) == (3, 4)
    assert "line 2 between the column names and the data was passed over" in str(frames.notices[0])


@pytest.mark.parametrize("mark", ["# ", "#", "% "])
@pytest.mark.parametrize("delimiter", [" ", ",", "\t"])
def test_a_comment_mark_before_the_names(check, mark, delimiter):
    check(mark + written(delimiter, ".", "\n", "none", 0))


def test_quoted_decimal_commas_between_commas(check):
    rows = zip(TIME, TORQUE, LOAD, strict=True)
    body = "".join(
        ",".join(f'"{value:.4f}"'.replace(".", ",") for value in row) + "\n" for row in rows
    )
    assert check('"Time","Torque","Load"\n' + body).dialect.decimal == ","


def test_a_text_column_with_the_delimiter_in_quotes(check):
    lines = written(",", ".", "\n", "none", 0).splitlines()
    body = [line + f',"running, step {i}"' for i, line in enumerate(lines[1:])]
    check("\n".join([lines[0] + ",State", *body, ""]))


def test_names_with_blanks_between_blanks(check):
    text = written(" ", ".", "\n", "none", 0).replace("Torque", "Torque [Nm]", 1)
    assert check(text).units["torque"] == "Nm"


# --- settings win over what is detected


def test_the_settings_are_taken_as_stated(check, read):
    text = written(";", ",", "\n", "row", 3)
    settings = LogSettings(
        "Time", delimiter=";", decimal=",", encoding="utf-8", skip_lines=3, units_line=5
    )
    check(text, settings)
    with pytest.raises(LogError, match=r"'0,0000' is not a number.*State decimal"):
        read(text, None, LogSettings("Time", decimal="."))
    with pytest.raises(LogError, match="no column 'Time'"):
        read(text, None, LogSettings("Time", skip_lines=1))
    with pytest.raises(LogError, match="has only"):
        read(text, None, LogSettings("Time", skip_lines=200))


def test_a_stated_units_line_may_be_anywhere(check, read):
    text = "s;lbf;kN\n" + written(";", ".", "\n", "none", 0)
    assert check(text, LogSettings("Time", units_line=1)).units["torque"] == "lbf"
    text = written(";", ".", "\n", "row", 0)
    assert check(text, LogSettings("Time", units_line=0)).units["torque"] is None
    with pytest.raises(LogError, match="line 1 is no row of units"):
        read(text, None, LogSettings("Time", units_line=1))


def test_a_stated_encoding_is_used(check):
    text = written(";", ",", "\n", "row", 1)
    frames = check(text, LogSettings("Time", encoding="cp850"), encoding="cp850")
    assert frames.dialect.encoding == "cp850"


# --- time


@pytest.mark.parametrize("name", ["Time [ms]", "Time (ms)"])
def test_milliseconds_in_the_name(read, name):
    frames = read(f"{name},Torque\n0,1\n250,2\n500,3\n")
    np.testing.assert_allclose(frames.time_s, [0.0, 0.25, 0.5], rtol=1e-15)


def test_milliseconds_in_the_units_row_and_in_a_plain_name(read):
    assert read("Time,Torque\nms,Nm\n0,1\n250,2\n").time_s[1] == pytest.approx(0.25)
    settings = LogSettings("time_ms")
    assert read("time_ms,Torque\n0,1\n250,2\n", None, settings).time_s[1] == pytest.approx(0.25)


@pytest.mark.parametrize("unit", ["min", "h", "samples", "hh:mm:ss"])
def test_any_other_unit_of_the_time_is_refused(read, unit):
    with pytest.raises(LogError, match=f"the time is in '{unit}'.*elapsed time in s or ms"):
        read(f"Time [{unit}],Torque [Nm]\n0,1\n250,2\n")


def test_huge_absolute_times_keep_their_steps(read):
    start = 1_772_000_000.0
    rows = "".join(f"{start + i / 1000:.3f},{i % 7}\n" for i in range(500))
    frames = read("Time,Torque\n" + rows)
    assert frames.frame_s == 0.005
    assert frames.sample_s == pytest.approx(1e-3, rel=1e-3)
    np.testing.assert_array_equal(frames.n_samples[1:-1], 5)
    np.testing.assert_allclose(np.diff(frames.time_s), 5e-3, atol=1e-6)


# --- the decimal mark in doubt


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (("1.5", "2,5"), "'1.5' has a decimal point and '2,5' a decimal comma"),
        (("1.234,5", "998,5"), "'1.234,5' is written with a mark between the thousands"),
        (("1,234.5", "998.5"), "between the thousands"),
        (("1.234.567", "5"), "between the thousands"),
        (("1'234,5", "998,5"), "between the thousands"),
        (("1 234,5", "998,5"), "between the thousands"),
        (("998", "999", "1.000", "1.001"), "'1.000' beside '998' could be a thousand"),
        (("998", "999", "1,000", "1,001"), "'1,000' beside '998' could be a thousand"),
    ],
)
def test_a_doubtful_decimal_mark_is_refused(read, cells, words):
    rows = "".join(f"{i};{cell}\n" for i, cell in enumerate(cells * 3))
    with pytest.raises(LogError, match=words):
        read("Time;Torque\n" + rows)


@pytest.mark.parametrize(
    ("cells", "last"),
    [
        (("0,915", "1,824", "12,737"), 12.737),
        (("0.915", "1.824", "12.737"), 12.737),
        (("5", "5,125", "5,25"), 5.25),
        (("1,5", "2", "3"), 3.0),
        (("1.5e3", "2", "3E-1"), 0.3),
        ((",5", "-,25", "+3,"), 3.0),
    ],
)
def test_a_clear_decimal_mark_is_not(read, cells, last):
    rows = "".join(f"{i};{cell}\n" for i, cell in enumerate(cells))
    assert read("Time;Torque\n" + rows).values["torque"][-1] == last


def test_doubt_in_a_column_that_is_not_read_does_not_matter(read):
    text = "Time;Torque;Version\n0;1,5;1.2\n1;2,5;1.2\n2;3,5;1.2\n"
    assert list(read(text).values["torque"]) == [1.5, 2.5, 3.5]


def test_a_decimal_comma_between_commas_is_refused(read):
    with pytest.raises(LogError, match=r"hold 4 values and the line of names 2.*decimal mark too"):
        read("Time,Torque\n" + "".join(f"{i},5,{i},25\n" for i in range(9)))


def test_wide_encodings():
    assert is_wide("utf-16")
    assert is_wide("utf-16-be")
    assert is_wide("utf-32")
    assert not any(is_wide(name) for name in ("utf-8", "utf-8-sig", "cp1252", "latin-1", "cp850"))


def test_detect_alone_gives_the_dialect(write):
    found = detect(
        write("Time [s];Torque [Nm]\n0,0;1,5\n0,1;1,5\n"), LogSettings("Time"), ["Torque"]
    )
    assert found.names == ("Time [s]", "Torque [Nm]")
    assert found.units == ("s", "Nm")
    assert (found.time_index, found.time_unit) == (0, "s")


def test_a_line_is_split_once_though_many_may_hold_the_names(monkeypatch):
    """Hundreds of lines that name the time, none the same: the search must stay short."""
    split = Counter()

    def counted(line, mark):
        split[mark] += 1
        return split_line(line, mark)

    monkeypatch.setattr(names_line, "split_line", counted)
    lines = [f"Time, load {i}, torque, x" for i in range(300)]
    with pytest.raises(LogError):
        find_header(lines, LogSettings("Time"), ("torque",), "log")
    assert max(split.values()) < 3 * len(lines)
