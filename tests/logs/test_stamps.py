"""Time stamps come out as the seconds that lie between them, or are refused."""

import datetime
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs.elapsed import ElapsedTime
from rigdata.logs.stamps import Clock, find_clock, is_stamp

SECONDS = (0.0, 0.5, 1.0, 61.25, 3599.0)


def log(stamps, delimiter=";"):
    cells = [f"{stamp}{delimiter}{i % 7},5" for i, stamp in enumerate(stamps)]
    return "\n".join([f"Time{delimiter}Torque", *cells, ""])


def stamps_of(pattern, *, start="2026-03-14T10:59:30", decimal=".", seconds=SECONDS):
    first = datetime.datetime.fromisoformat(start)
    moments = [first + datetime.timedelta(seconds=s) for s in seconds]
    return [
        moment.strftime(pattern).replace(".###", f"{decimal}{moment.microsecond // 1000:03d}")
        for moment in moments
    ]


@pytest.mark.parametrize(
    "pattern",
    [
        "%Y-%m-%dT%H:%M:%S.###",
        "%Y-%m-%d %H:%M:%S.###",
        "%Y-%m-%d  %H:%M:%S.###",
        "%Y/%m/%d %H:%M:%S.###",
        "%d.%m.%Y %H:%M:%S.###",
        "%d/%m/%Y %H:%M:%S.###",
        "%m/%d/%Y %H:%M:%S.###",
        "%d.%m.%Y %H:%M:%S:%f",
        "%d-%b-%Y %H:%M:%S.###",
        "%d %B %Y %H:%M:%S.###",
        "%Y%m%dT%H%M%S.###",
        "%m/%d/%Y %I:%M:%S.### %p",
        "%Y-%m-%dT%H:%M:%S.###Z",
        "%Y-%m-%dT%H:%M:%S.###+02:00",
        "%Y-%m-%d %H:%M:%S.### -0530",
        "%H:%M:%S.###",
        "%I:%M:%S.### %p",
    ],
)
@pytest.mark.parametrize("decimal", [".", ","])
def test_stamps_of_every_form(read, pattern, decimal):
    stamps = stamps_of(pattern, decimal=decimal)
    stamps = [re.sub(r":(\d{3})000$", r":\1", stamp) for stamp in stamps]
    frames = read(log(stamps))
    np.testing.assert_array_equal(frames.time_s, SECONDS)
    np.testing.assert_array_equal(frames.values["torque"][:4], [0.5, 1.5, 2.5, 3.5])
    assert frames.dialect.decimal == ","
    assert "holds stamps" in str(frames.notices[0])


def test_time_zero_is_the_whole_second_of_the_first_stamp(read):
    frames = read(log(["10:15:07.25", "10:15:07.5", "10:15:08.75"]))
    np.testing.assert_array_equal(frames.time_s, [0.25, 0.5, 1.75])


def test_stamps_with_and_without_a_fraction_in_one_log(read):
    stamps = ["2026-03-04T10:15:00", "2026-03-04T10:15:00.5", "2026-03-04T10:15:01"]
    np.testing.assert_array_equal(read(log(stamps)).time_s, [0.0, 0.5, 1.0])


def test_hours_of_one_digit_and_a_date_without_zeros(read):
    stamps = ["3/14/2026 9:59:59", "3/14/2026 10:00:00", "3/14/2026 10:00:01"]
    np.testing.assert_array_equal(read(log(stamps)).time_s, [0.0, 1.0, 2.0])


def test_a_date_with_hours_and_minutes_alone(read):
    stamps = [f"2026-03-04 10:{minute:02d}" for minute in range(5)]
    np.testing.assert_array_equal(read(log(stamps)).time_s, 60.0 * np.arange(5))


@pytest.mark.parametrize("block_bytes", [30, 2**20])
def test_a_clock_without_a_date_passes_midnight(read, block_bytes):
    stamps = ["23:59:58.5", "23:59:59.5", "00:00:00.5", "0:00:01.5", "00:00:02.5"]
    frames = read(log(stamps), block_bytes=block_bytes)
    np.testing.assert_array_equal(frames.time_s, [0.5, 1.5, 2.5, 3.5, 4.5])
    assert frames.n_rows == 5


def test_a_stray_clock_does_not_move_the_rest_by_a_day(read):
    stamps = [f"10:15:{i:02d}" for i in range(20)]
    stamps[7] = "23:15:07"
    frames = read(log(stamps))
    np.testing.assert_array_equal(frames.time_s, [i for i in range(20) if i != 7])
    assert "1 rows left out because their time does not rise" in str(frames.notices[-1])


def test_a_change_of_daylight_saving_time_is_nothing_where_a_zone_is_stated(read):
    stamps = ["2026-10-25T02:59:58+02:00", "2026-10-25T02:59:59+02:00", "2026-10-25T02:00:00+01:00"]
    np.testing.assert_array_equal(read(log(stamps)).time_s, [0.0, 1.0, 2.0])
    frames = read(log([stamp[:19] for stamp in [*stamps, "2026-10-25T02:59:59"]]))
    assert frames.time_s.size == 2
    assert "daylight saving" in str(frames.notices[0])
    assert "a clock set back" in str(frames.notices[-1])


def test_a_doubtful_order_of_day_and_month_is_refused(read):
    stamps = [f"03/04/2026 10:15:0{i}" for i in range(5)] + ["04/04/2026 00:00:00"]
    with pytest.raises(LogError, match=r"line 2, column 'Time'.*in doubt.*\"dmy\" or .*\"mdy\""):
        read(log(stamps))
    day = 86_400.0 - (10 * 3600 + 15 * 60)
    assert read(log(stamps), None, LogSettings("Time", date_order="dmy")).time_s[-1] == day
    month = 31 * 86_400.0 - (10 * 3600 + 15 * 60)
    assert read(log(stamps), None, LogSettings("Time", date_order="mdy")).time_s[-1] == month


def test_a_stated_order_in_which_no_such_date_exists(read):
    with pytest.raises(LogError, match=r"'14\.03\.2026 10:59:30' is no time in the order mdy"):
        read(log(stamps_of("%d.%m.%Y %H:%M:%S")), None, LogSettings("Time", date_order="mdy"))


def test_a_year_of_two_digits_needs_an_order(read):
    stamps = [f"14.03.26 10:15:0{i}" for i in range(5)]
    with pytest.raises(LogError, match="in doubt"):
        read(log(stamps))
    frames = read(log(stamps), None, LogSettings("Time", date_order="dmy"))
    np.testing.assert_array_equal(frames.time_s, np.arange(5))


@pytest.mark.parametrize("cell", ["2026-02-30T10:15:02", "10:15:02", "2026-03-04T10:61:02", "noon"])
def test_a_cell_that_is_no_time_is_an_error_that_names_its_line(read, cell):
    stamps = ["2026-03-04T10:15:00", "2026-03-04T10:15:01", cell]
    with pytest.raises(LogError, match=f"line 4, column 'Time': '{cell}' is not a number"):
        read(log(stamps))


def test_a_missing_stamp_costs_its_row(read):
    stamps = ["10:15:00", "10:15:01", "--", "", "10:15:04"]
    frames = read(log(stamps))
    np.testing.assert_array_equal(frames.time_s, [0.0, 1.0, 4.0])
    assert "2 rows without a time" in str(frames.notices[-1])


@pytest.mark.parametrize("cell", ["10:15", "15:00.5", "2026-03-04", "yesterday"])
def test_what_is_no_stamp_is_refused(read, cell):
    with pytest.raises(LogError, match=f"line 2.*'{cell}' is neither a number nor a time stamp"):
        read(log([cell] * 3))


def test_the_date_in_a_column_of_its_own(read):
    rows = "".join(f"04.03.2026;23:59:5{i};{i},5\n" for i in range(5, 10))
    rows += "05.03.2026;00:00:00;1,5\n"
    frames = read("Date;Time;Torque\n" + rows)
    np.testing.assert_array_equal(frames.time_s, np.arange(6.0))


@pytest.mark.parametrize("delimiter", [" ", "\t", "|"])
def test_stamps_between_other_delimiters(read, delimiter):
    stamps = ["10:15:00.5", "10:15:01.5", "10:15:02.5"]
    rows = [f"{i},5{delimiter}{stamp}" for i, stamp in enumerate(stamps)]
    frames = read("\n".join([f"Torque{delimiter}Time", *rows, ""]))
    np.testing.assert_array_equal(frames.time_s, [0.5, 1.5, 2.5])
    np.testing.assert_array_equal(frames.values["torque"], [0.5, 1.5, 2.5])


def test_stamps_in_quotes_with_commas_about(read):
    rows = "".join(f'"2026-03-04 10:15:0{i},5","{i},5"\n' for i in range(5))
    with pytest.raises(LogError, match="names"):  # unquoted, the comma is one too many
        read("Time,Torque\n" + rows.replace('"', ""))
    frames = read('"Time","Torque"\n' + rows.replace('0,5"', '0.5"', 0))
    assert frames.dialect.decimal == ","
    np.testing.assert_array_equal(frames.values["torque"], np.arange(5) + 0.5)


def test_delimiters_in_quotes_before_the_stamp(read):
    rows = [f'"step {i}, ""slow""",10:15:0{i}.5,{i}.25' for i in range(5)]
    rows[3] = 'lone " mark,10:15:03.5,3.25'
    text = "\n".join(["State,Time,Torque", *rows, ""])
    frames = read(text)
    np.testing.assert_array_equal(frames.time_s, [0.5, 1.5, 2.5, 3.5, 4.5])
    np.testing.assert_array_equal(frames.values["torque"], np.arange(5) + 0.25)


def test_a_restart_with_its_header_goes_on_where_the_clock_is(read):
    stamps = [f"2026-03-04T10:15:0{i}" for i in range(4)]
    again = [f"2026-03-04T10:16:0{i}" for i in range(4)]
    frames = read(log(stamps) + log(again))
    np.testing.assert_array_equal(frames.time_s, [0, 1, 2, 3, 60, 61, 62, 63])
    assert "1 repeated header lines" in str(frames.notices[1])


def test_a_line_cut_inside_a_stamp_is_left_out(read):
    frames = read(log([f"2026-03-04T10:15:0{i}" for i in range(4)]) + "2026-03-04T10:15:3")
    assert frames.n_rows == 4
    assert "last line without a line end" in str(frames.notices[1])


def test_stamps_in_a_wide_encoding(read):
    frames = read(log([f"10:15:0{i}.25" for i in range(4)]), encoding="utf-16")
    np.testing.assert_array_equal(frames.time_s, np.arange(4) + 0.25)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    moments=st.lists(
        st.datetimes(datetime.datetime(1980, 1, 1), datetime.datetime(2090, 1, 1)),
        min_size=1,
        max_size=8,
    ),
    zone=st.integers(-23 * 60, 23 * 60),
    digits=st.integers(0, 6),
    decimal=st.sampled_from(".,"),
)
def test_seconds_agree_with_the_standard_library(moments, zone, digits, decimal):
    tz = datetime.timezone(datetime.timedelta(minutes=zone))
    cut = 10 ** (6 - digits)
    moments = [m.replace(microsecond=m.microsecond // cut * cut, tzinfo=tz) for m in moments]
    written = []
    for m in moments:
        fraction = f"{decimal}{m.microsecond:06d}"[: digits + 1] if digits else ""
        written.append(f"{m:%Y-%m-%dT%H:%M:%S}{fraction}{m.isoformat()[-6:]}")
    clock = find_clock(written, None, where="here")
    origin = moments[0].replace(microsecond=0)
    true = [(m - origin) / datetime.timedelta(seconds=1) for m in moments]
    assert [clock.elapsed(text) for text in written] == pytest.approx(true, abs=1e-9)
    text = "".join(f"{stamp};1\n" for stamp in written).encode()
    plain = ElapsedTime(clock, ";", ".", 0).overwritten(text)
    assert len(plain) == len(text)
    found = [float(line.split(b";")[0]) for line in plain.splitlines()]
    assert found == pytest.approx(true, abs=1e-6)


@given(st.text(st.characters(codec="latin-1"), max_size=30))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_text_that_is_no_stamp_stays_as_it_is(text):
    line = text.replace("\n", " ").replace("\r", " ").encode("latin-1") + b"\n"
    if not is_stamp(text.strip(' \t"')):
        clock = Clock("ymd", dated=False, zoned=False, origin_s=0)
        assert ElapsedTime(clock, ";", ".", 0).overwritten(line) == line or b":" in line
