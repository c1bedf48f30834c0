import pytest

from rigdata.errors import LogError
from rigdata.logs.header import (
    column_index,
    is_units_row,
    names_in,
    positions,
    split_line,
    split_name,
    units_of,
)


def test_cells_lose_padding_and_quotes():
    assert split_line('  1;"a;b" ; 3 ', ";") == ["1", "a;b", "3"]
    assert split_line("  1   2\t3 ", " ") == ["1", "2", "3"]
    assert split_line('1  "a b" 3', " ") == ["1", "a b", "3"]
    assert split_line("1,,", ",") == ["1", "", ""]


@pytest.mark.parametrize(
    ("title", "parts"),
    [
        ("Torque [Nm]", ("Torque", "Nm")),
        ("Torque[N·m]", ("Torque", "N·m")),
        ("Torque []", ("Torque", None)),
        ("Load (kN)", ("Load", "kN")),
        ("Load (rear)", ("Load (rear)", None)),
        ("T1 (rear) [degC]", ("T1 (rear)", "degC")),
        ("Torque", ("Torque", None)),
        ("[Nm]", ("[Nm]", None)),
    ],
)
def test_units_in_names(title, parts):
    assert split_name(title) == parts


def test_names_of_a_header_row():
    assert names_in(["#", "t", "T"], 2, " ") == ("t", "T")
    assert names_in(["#t", "T"], 2, ",") == ("t", "T")
    assert names_in(["t", "T", ""], 2, ",") == ("t", "T")
    assert names_in(["t", "T", ""], 3, ",") == ("t", "T", "")
    assert names_in(["t", "[s]", "T", "(Nm)"], 2, " ") == ("t [s]", "T (Nm)")


def test_rows_of_units():
    assert is_units_row(["s", "widgets", "widgets"], 0)
    assert is_units_row(["", "Nm", "kN"], 0)
    assert is_units_row(["[s]", "[a]", "[b]"], 1)
    assert not is_units_row(["main clock", "cell 7", "cell 9"], 0)
    assert not is_units_row(["", ""], 0)
    assert units_of(["t", "T [Nm]", "F", "x"], ["s", "lbf", "[kN]"]) == ("s", "Nm", "kN", None)


def test_a_column_is_found_with_or_without_its_bracket():
    names = ["Time [s]", "Torque [Nm]", "Load", "N ·m", "torque"]
    assert positions(names, "Torque [Nm]") == [1]
    assert positions(names, "Torque") == [1]
    assert positions(names, "Load [kN]") == [2]
    assert positions(names, "  Torque   [Nm] ") == [1]
    assert positions(names, "TORQUE") == []
    assert positions(["Torque", "Torque [Nm]"], "Torque") == [0]


def test_a_column_that_is_not_there():
    with pytest.raises(LogError, match=r"log: there is no column 'torque'; expected perhaps 'Torq"):
        column_index(["Time", "Torque [Nm]"], "torque", where="log")
    with pytest.raises(LogError, match=r"expected one of 'c0', .*'c11', \.\.\."):
        column_index([f"c{i}" for i in range(30)], "Torque", where="log")
