"""What goes wrong in real text logs, and what is said about it."""

import gzip

import numpy as np
import pytest

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError, Severity
from rigdata.logs import rawbytes, text
from rigdata.logs.flags import Flag
from rigdata.logs.frames import ColumnRequest

HEAD = "Time,Torque,Load\n"


def rows(n=30, start=0):
    return [f"{i / 10:.1f},{100 + i % 7}.5,{i % 5}.25" for i in range(start, start + n)]


def log(lines, head=HEAD):
    return head + "".join(line + "\n" for line in lines)


def said(frames):
    return "\n".join(str(notice) for notice in frames.notices if "no unit" not in notice.what)


# --- the last line


def test_a_last_line_without_a_line_end_is_dropped_and_told(read):
    whole = log(rows())
    cut = whole + "3.0,103.5,0."
    frames = read(cut)
    assert frames.n_rows == 30
    assert "1 last line without a line end left out" in said(frames)
    assert "(line 32)" in said(frames)
    assert said(read(whole)) == ""
    # Even a line that looks whole may be cut inside its last number.
    assert read(whole + "3.0,103.5,0.25").n_rows == 30


def test_padding_with_nuls_is_stripped_and_counted(read):
    frames = read(log(rows()).encode() + b"\0" * 4096)
    assert frames.n_rows == 30
    assert said(frames).endswith("left out: 4096 NUL bytes stripped.")


def test_a_line_cut_by_nuls_is_dropped(read):
    frames = read(log(rows()).encode() + b"3.0,10" + b"\0" * 100)
    assert frames.n_rows == 30
    assert "last line" in said(frames)
    assert "100 NUL bytes" in said(frames)


def test_nuls_in_the_middle_and_a_restart(read):
    text = log(rows()).encode() + b"3.0,10" + b"\0" * 100 + b"\n" + log(rows(30, 31), "").encode()
    frames = read(text)
    assert frames.n_rows == 60
    assert "1 lines with too few or too many fields left out (line 32)" in said(frames)


def test_an_end_of_file_mark_is_no_line(read):
    assert said(read(log(rows()) + "\x1a")) == ""


# --- lines of another shape


def test_lines_with_too_few_or_too_many_fields_are_dropped_and_named(read):
    lines = rows()
    lines[5] += ",7"
    lines[10] = "1.0,103"
    lines.insert(20, "# marker 3")
    lines.append("End of log")
    frames = read(log(lines))
    assert frames.n_rows == 28
    assert (
        "4 lines with too few or too many fields left out (line 7, line 12, line 22, line 33)"
        in (said(frames))
    )
    assert frames.notices[-1].severity is Severity.LEFT_OUT
    assert list(frames.values["torque"][4:6]) == [104.5, 106.5]


@pytest.mark.parametrize("last", ["2", "", "ok"])
def test_a_short_and_a_long_line_do_not_make_up_for_each_other(read, last):
    lines = [f"{line},{last}" for line in rows()]
    lines[10] = ",".join(lines[10].split(",")[:3])
    lines[20] += ",7"
    frames = read(log(lines, "Time,Torque,Load,Last\n"))
    assert frames.n_rows == 28
    assert "2 lines with too few or too many fields left out (line 12, line 22)" in said(frames)


def test_a_swallowed_line_end_and_a_stray_one_do_not_make_up_for_each_other(read):
    lines = rows()
    lines[10] += "," + lines.pop(11)
    lines[20] = lines[20].replace(",", "\n,", 1)
    frames = read(log(lines))
    assert "2 lines with too few or too many fields left out (line 12, line 22)" in said(frames)


def test_an_extra_field_never_shifts_the_columns(read):
    lines = [line + "," for line in rows()]
    frames = read(log(lines), {"torque": "Torque", "load": "Load"})
    assert list(frames.values["torque"][:3]) == [100.5, 101.5, 102.5]
    assert list(frames.values["load"][:3]) == [0.25, 1.25, 2.25]


def test_blank_lines_are_nothing(read):
    lines = rows()
    for i in range(25, 0, -3):
        lines.insert(i, "")
    frames = read(log(lines))
    assert frames.n_rows == 30
    assert said(frames) == ""


def test_doubled_carriage_returns_are_nothing(read):
    frames = read(log(rows()).replace("\n", "\r\r\n"))
    assert frames.n_rows == 30
    assert said(frames) == ""


def test_a_repeated_header_is_passed_over_and_counted(read):
    head = "bench 3\nTime,Torque,Load\ns,N*m,kN\n"
    text = log(rows(), head) + log(rows(30, 30), head) + log(rows(30, 60), "\ufeff" + head)
    frames = read(text)
    assert frames.n_rows == 90
    assert np.all(np.diff(frames.time_s) > 0.0)
    assert "6 repeated header lines passed over (line 34, line 35, line 36" in said(frames)
    assert all(notice.severity is Severity.NOTE for notice in frames.notices)


def test_a_padded_header_again(read):
    head = "        Time;      Torque;\n"
    lines = [f"{i / 10:12.1f};{i % 7:12d};" for i in range(60)]
    text = head + "\n".join(lines[:30]) + "\n" + head + "\n".join(lines[30:]) + "\n"
    frames = read(text)
    assert frames.n_rows == 60
    assert "1 repeated header lines" in said(frames)


def test_columns_that_change_in_mid_file_are_an_error(read):
    text = log(rows()) + log(rows(30, 30), "Time,Load,Torque\n")
    with pytest.raises(LogError, match="line 32, column 'Time': 'Time' is not a number"):
        read(text)


def test_rows_may_leave_out_blank_cells_at_their_end(read):
    lines = [f"{i / 10:.1f},{i % 7}" + (f",{i}" if i % 5 == 0 else "") for i in range(60)]
    frames = read(log(lines), {"torque": "Torque", "load": "Load"})
    assert frames.n_rows == 60
    assert frames.periods["load"] == pytest.approx(0.5)
    np.testing.assert_allclose(frames.values["load"][:56], np.arange(56))


def test_a_lone_quotation_mark_swallows_no_lines(read):
    lines = [line + ",ok" for line in rows()]
    lines[10] = lines[10][:-2] + '"ok'
    frames = read(log(lines, "Time,Torque,Load,State\n"))
    assert frames.n_rows == 30
    assert said(frames) == ""


# --- cells that are no numbers

MISSING = ["", "NaN", "nan", "--.--", "---", "N/A", "#N/A", "null", "1.#QNAN", "-1.#IND", "9.91E37"]
OVER = ["Overrange", "OVERRANGE", "overflow", "OL", "1.#INF", "-1.#INF", "inf", "-Inf", "1e400"]
OVER += ["****", "#####", "9.9E37", "+++++"]


@pytest.mark.parametrize("cell", MISSING)
def test_a_missing_cell_is_flagged_missing(read, cell):
    lines = rows(200)
    lines[50] = f"5.0,{cell},0.25"
    frames = read(log(lines))
    assert frames.counts["torque"] == {Flag.MISSING: 1}
    assert np.flatnonzero(frames.flags["torque"]).tolist() == [50]
    assert np.isnan(frames.values["torque"][50])


@pytest.mark.parametrize("cell", OVER)
@pytest.mark.parametrize("pad", ["", "  "])
def test_a_cell_over_range_is_flagged_saturated(read, cell, pad):
    lines = rows(200)
    lines[50] = f"5.0,{pad}{cell}{pad},0.25"
    lines[70] = f"7.0,{cell},0.25"
    frames = read(log(lines))
    assert frames.counts["torque"] == {Flag.SATURATED: 2}
    assert np.flatnonzero(frames.flags["torque"]).tolist() == [50, 70]
    assert np.isnan(frames.values["torque"][[50, 70]]).all()
    assert frames.values["torque"][51] == 102.5


def test_padded_missing_cells(read):
    lines = rows(200)
    lines[50] = "5.0,   --.--  ,0.25"
    lines[51] = "5.1,     ,0.25"
    assert read(log(lines)).counts["torque"] == {Flag.MISSING: 2}


@pytest.mark.parametrize("cell", ["abc", "12 Nm", "0x10", "1_0", "5-", "--1"])
def test_any_other_text_is_an_error_that_names_the_place(read, cell):
    lines = [line.replace(",", ";") for line in rows(200)]
    lines[50] = f"5.0;{cell};0.25"
    words = f"R001.csv, line 52, column 'Torque': '{cell}' is not a number"
    with pytest.raises(LogError, match=words):
        read(log(lines, HEAD.replace(",", ";")))


@pytest.mark.parametrize("cell", ["1,5", "1.234,5", "1,234.5"])
def test_another_decimal_mark_far_down_is_an_error_too(read, cell):
    lines = [line.replace(",", ";") for line in rows(3000)]
    lines[2500] = f"250.0;{cell};0.25"
    with pytest.raises(LogError, match=f"line 2502, column 'Torque': '{cell}' is not a number"):
        read(log(lines, HEAD.replace(",", ";")))


def test_the_line_named_is_right_after_dropped_lines_and_in_small_blocks(read):
    lines = rows(200)
    lines[20] = ""
    lines[30] = "note"
    lines[150] = "15.0,fault,0.25"
    for size in (100, 997, 2**20):
        with pytest.raises(LogError, match="line 152, column 'Torque': 'fault'"):
            read(log(lines), block_bytes=size)


def test_text_in_a_column_that_is_not_read_does_not_matter(read):
    lines = [line.rsplit(",", 1)[0] + ",läuft" for line in rows()]
    assert read(log(lines), encoding="cp1252").n_rows == 30


def test_a_fault_in_a_cp1252_cell_is_shown_as_written(read):
    lines = rows()
    lines[3] = "0.3,Überlauf,1"
    with pytest.raises(LogError, match="'Überlauf' is not a number"):
        read(log(lines), encoding="cp1252")


def test_a_fault_with_control_characters_is_shown_escaped(read):
    lines = rows()
    lines[3] = "0.3,5\x1b[2J" + "7" * 100 + ",1"
    with pytest.raises(LogError, match=r"'5\\x1b\[2J7{35}' is not a number"):
        read(log(lines))


def test_a_row_without_a_time_is_dropped_and_counted(read):
    lines = rows()
    lines[12] = ",103.5,0.25"
    frames = read(log(lines))
    assert frames.n_rows == 30
    assert frames.time_s.size == 29
    assert "1 rows without a time left out" in said(frames)


# --- time that does not rise


def test_times_that_repeat_or_go_back_are_dropped_and_counted(read):
    lines = rows(60)
    lines[20] = lines[20].replace("2.0,", "1.9,")
    lines[40] = lines[40].replace("4.0,", "0.5,")
    frames = read(log(lines))
    assert frames.time_s.size == 58
    assert "2 rows left out because their time does not rise" in said(frames)
    assert "(1.9 s, 0.5 s)" in said(frames)
    assert np.all(np.diff(frames.time_s) > 0.0)


def test_one_time_far_ahead_costs_one_row(read):
    lines = rows(60)
    lines[20] = lines[20].replace("2.0,", "2000000.0,")
    frames = read(log(lines))
    assert frames.time_s.size == 59
    assert "(2000000 s)" in said(frames)


@pytest.mark.parametrize("time", ["1e300", "-1e15"])
def test_a_time_beyond_all_sense_is_none(read, time):
    lines = rows(60)
    lines[20] = lines[20].replace("2.0,", f"{time},")
    lines[-1] = lines[-1].replace("5.9,", f"{time},")
    frames = read(log(lines))
    assert frames.time_s.size == 58
    assert "2 rows without a time left out" in said(frames)


def test_a_restart_at_zero_drops_the_rest_and_says_so(read):
    frames = read(log(rows(60)) + log(rows(20)))
    assert frames.n_rows == 80
    assert frames.time_s.size == 60
    assert "20 rows left out because their time does not rise" in said(frames)


@pytest.mark.parametrize("times", [[1.0] * 50, list(range(50, 0, -1))])
def test_a_time_that_never_rises_is_an_error(read, times):
    lines = [f"{t},1.5,2" for t in times]
    with pytest.raises(LogError, match="the time does not increase over the first 50 rows"):
        read(log(lines))


# --- columns


def test_a_missing_column_is_named_with_the_nearest(read):
    with pytest.raises(LogError, match=r"R001.csv: there is no column 'Torqe'.*perhaps 'Torque'"):
        read(log(rows()), {"torque": "Torqe"})
    with pytest.raises(LogError, match="no column 'zzz'; expected one of 'Time', 'Torque', 'Load'"):
        read(log(rows()), {"torque": "zzz"})
    with pytest.raises(LogError, match="no column 'time'; expected perhaps 'Time'"):
        read(log(rows()), None, LogSettings("time"))


def test_a_name_twice_matters_only_when_it_is_asked_for(read):
    text = log([line + ",1" for line in rows()], "Time,Torque,Load,Load\n")
    assert read(text).n_rows == 30
    with pytest.raises(LogError, match=r"column 'Load' is there 2 times \(columns 3, 4"):
        read(text, {"load": "Load"})


def test_the_same_bare_name_with_two_units(read):
    text = log(rows(), "Time [s],Load [kN],Load [%]\n")
    assert read(text, {"load": "Load [kN]"}).units["load"] == "kN"
    with pytest.raises(LogError, match=r"'Load \[kN\]' and 'Load \[%\]'"):
        read(text, {"load": "Load"})


def test_more_values_than_names_is_an_error(read):
    with pytest.raises(LogError, match="data lines hold 4 values and the line of names 3"):
        read(log([f"{i},{line}" for i, line in enumerate(rows())]))


def test_one_column_may_serve_two_keys(read):
    frames = read(log(rows()), {"a": "Torque", "b": "Torque"})
    np.testing.assert_array_equal(frames.values["a"], frames.values["b"])


# --- no log at all


@pytest.mark.parametrize("content", [b"", b"\0" * 5000, b"\r\n\r\n  \r\n"])
def test_an_empty_log(read, content):
    with pytest.raises(LogError, match="the log is empty"):
        read(content)


@pytest.mark.parametrize("content", [HEAD, HEAD + "s,Nm,kN\n", HEAD + "\n\n", HEAD.strip()])
def test_a_log_without_data(read, content):
    with pytest.raises(LogError, match="holds no data lines"):
        read(content)


def test_a_log_with_a_single_row(read):
    with pytest.raises(LogError, match="the time does not increase over the first 1 rows"):
        read(HEAD + "0.0,1.5,2\n")
    with pytest.raises(LogError, match="holds no data lines"):
        read(HEAD + "0.0,1.5,2")


def test_binary_rubbish(read):
    data = np.random.default_rng(1).integers(0, 256, 100_000, np.uint8).tobytes()
    with pytest.raises(LogError, match="is binary data, not a text log"):
        read(data)
    with pytest.raises(LogError, match=r"is a Parquet file, not a text log.*ending .parquet"):
        read(b"PAR1" + data)
    with pytest.raises(LogError, match="is binary data"):
        read(b"\1\0\0\0" * 1000 + b"Time,Torque\n")


def test_prose(read):
    with pytest.raises(LogError, match="no line of column names with 'Time'"):
        read("Dear reader,\nthis is not a log at all.\n" * 20)


def test_a_missing_file(read, tmp_path):
    with pytest.raises(LogError, match=r"none.csv: cannot be read \(No such file"):
        read(tmp_path / "none.csv")


def test_a_line_without_end(read, monkeypatch):
    monkeypatch.setattr(text, "LONGEST_LINE", 1000)
    with pytest.raises(LogError, match="line 32: a line is longer than 1000 bytes"):
        read(log(rows()) + "7" * 5000, block_bytes=512)


# --- compressed


def test_a_compressed_log_reads_like_the_plain_one(read):
    plain = read(log(rows()))
    packed = read(gzip.compress(log(rows()).encode()), name="R001.csv.gz")
    np.testing.assert_array_equal(plain.values["torque"], packed.values["torque"])
    assert packed.n_rows == 30


def test_a_damaged_compressed_log(read):
    packed = gzip.compress(log(rows(3000)).encode())
    with pytest.raises(LogError, match="damaged or cut short"):
        read(packed[:-100], name="R001.csv.gz")
    with pytest.raises(LogError, match=r"cannot be read|damaged"):
        read(packed[:50] + b"\xff" * 200 + packed[250:], name="R001.csv.gz")


def test_a_log_made_to_fill_a_disk(read, monkeypatch):
    monkeypatch.setattr(rawbytes, "EXPANSION_FREE", 100_000)
    bomb = gzip.compress(log(rows()).encode() + b"\0" * 5_000_000)
    with pytest.raises(LogError, match="expands to more than 200 times its size"):
        read(bomb, name="R001.csv.gz")


def test_the_range_is_in_logged_units(read):
    request = ColumnRequest("Torque", low=101.0, high=105.5)
    frames = read(log(rows(70)), {"torque": request})
    expected = [100 + i % 7 + 0.5 in (100.5, 106.5) for i in range(70)]
    assert (frames.flags["torque"] == Flag.SATURATED).tolist() == expected
    assert frames.counts["torque"] == {Flag.SATURATED: sum(expected)}


def test_a_lone_quotation_mark_never_shifts_columns(read):
    lines = [line.replace(",", ',"a, b",', 1) for line in rows()]
    lines[10] = lines[10].replace('b"', "b")
    frames = read(log(lines, "Time,State,Torque,Load\n"))
    assert list(frames.values["torque"][9:11]) == [102.5, 104.5]
    assert "1 lines with too few or too many fields left out (line 12)" in said(frames)


def test_numbers_in_quotes(read):
    lines = [",".join(f'"{cell}"' for cell in line.split(",")) for line in rows()]
    assert list(read(log(lines)).values["torque"][:2]) == [100.5, 101.5]


def test_words_of_truth_are_no_numbers(read):
    with pytest.raises(LogError, match="line 2, column 'Torque': 'True' is not a number"):
        read(log([f"{i},True,1" for i in range(30)]))
