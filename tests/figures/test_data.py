"""The table of a figure: what was drawn, with its names and units."""

import csv
import io

import numpy as np
import pytest

from rigdata.figures import style
from rigdata.figures.data import figure_csv


def read(drawing):
    return list(csv.DictReader(io.StringIO(figure_csv(drawing))))


def numbers(rows, column):
    return [float(row[column]) for row in rows if row[column]]


@pytest.fixture
def drawing():
    with style.styled():
        made = style.figure(3.0)
        axes = made.add_subplot()
        axes.set_xlabel(style.axis_label("temperature_c"))
        axes.set_ylabel(style.axis_label("mu"))
        yield made


X = np.array([1.0, 2.0, 4.0])
TEMPERATURE = "Plate temperature [degC]"
MU = "Friction coefficient"


def test_a_line_and_its_band_stand_in_one_row(drawing):
    (axes,) = drawing.axes
    axes.fill_between(X, 0.1 * X, 0.3 * X, gid="law")
    axes.plot(X, 0.2 * X, gid="law")
    rows = read(drawing)
    assert list(rows[0]) == ["series", TEMPERATURE, MU, f"{MU}, low", f"{MU}, high"]
    assert [row["series"] for row in rows] == ["law"] * 3
    np.testing.assert_allclose(numbers(rows, TEMPERATURE), X)
    np.testing.assert_allclose(numbers(rows, f"{MU}, low"), 0.1 * X, rtol=1e-4)
    np.testing.assert_allclose(numbers(rows, MU), 0.2 * X, rtol=1e-4)
    np.testing.assert_allclose(numbers(rows, f"{MU}, high"), 0.3 * X, rtol=1e-4)


def test_a_band_in_parts_keeps_every_part(drawing):
    (axes,) = drawing.axes
    x = np.arange(7.0)
    axes.fill_between(x, x, x + 1.0, where=np.abs(x - 3.0) > 0.5, gid="law")
    rows = read(drawing)
    assert numbers(rows, TEMPERATURE) == [0, 1, 2, 4, 5, 6]
    assert numbers(rows, f"{MU}, high") == [1, 2, 3, 5, 6, 7]


def test_points_with_bars_stand_in_one_row_and_caps_in_none(drawing):
    (axes,) = drawing.axes
    axes.errorbar(X, 0.2 * X, [0.1, 0.2, 0.3], ls="none", marker="o", capsize=3.0, gid="pack A1")
    rows = read(drawing)
    assert len(rows) == 3
    np.testing.assert_allclose(numbers(rows, f"{MU}, low"), [0.1, 0.2, 0.5], rtol=1e-4)
    np.testing.assert_allclose(numbers(rows, f"{MU}, high"), [0.3, 0.6, 1.1], rtol=1e-4)


def test_a_line_torn_into_bars_gives_their_ends(drawing):
    (axes,) = drawing.axes
    gap = np.nan
    axes.plot([1, 1, gap, 2, 2, gap], [0.1, 0.3, gap, 0.2, 0.4, gap], gid="A1")
    axes.plot([1, 2], [0.2, 0.3], ls="none", marker="o", gid="A1")
    rows = read(drawing)
    assert [tuple(row.values()) for row in rows] == [
        ("A1", "1", "0.1", "0.3", "0.2"),
        ("A1", "2", "0.2", "0.4", "0.3"),
    ]


def test_other_places_stay_rows_of_their_own(drawing):
    (axes,) = drawing.axes
    axes.plot(X, X, gid="one")
    axes.plot(X + 1.0, X, gid="one")
    assert numbers(read(drawing), TEMPERATURE) == [1, 2, 4, 2, 3, 5]


def test_names_on_an_axis_are_told_and_bars_reach_along_the_other(drawing):
    (axes,) = drawing.axes
    axes.errorbar([3.0, 5.0], [0, 1], xerr=[1.0, 2.0], ls="none", marker="o", gid="packs")
    axes.barh([0, 1], [7.0, 8.0], gid="bars")
    axes.set_yticks([0, 1], ["A1", "A2"])
    rows = read(drawing)
    assert [row[MU] for row in rows] == ["A1", "A2"] * 2
    assert numbers(rows, f"{TEMPERATURE}, low") == [2, 3]
    assert numbers(rows, f"{TEMPERATURE}, high") == [4, 7]
    assert numbers(rows, TEMPERATURE) == [3, 5, 7, 8]


def test_panels_share_labels_and_are_named(drawing):
    made = style.figure(3.0)
    above, below = made.subplots(2, 1, sharex=True)
    above.set_title("New")
    below.set_title("Worn")
    below.set_xlabel("Slip speed [m/s]")
    made.supylabel("Change [%]")
    above.plot(X, X, gid="a")
    below.plot(X, X, gid="b")
    rows = read(made)
    assert list(rows[0]) == ["panel", "series", "Slip speed [m/s]", "Change [%]"]
    assert [row["panel"] for row in rows] == ["New"] * 3 + ["Worn"] * 3


def test_one_point_in_several_panels_is_one_row():
    made = style.figure(3.0)
    left, right = made.subplots(1, 2, sharey=True)
    for panel, x in ((left, X), (right, 10.0 * X)):
        panel.plot(x, [3.0, 1.0, 2.0], ls="none", marker="o", gid="A1")
    left.set_xlabel("Slip speed [m/s]")
    right.set_xlabel(style.axis_label("temperature_c"))
    left.set_ylabel("Residual [%]")
    assert [tuple(row.values()) for row in read(made)] == [
        ("A1", "1", "3", "10"),
        ("A1", "2", "1", "20"),
        ("A1", "4", "2", "40"),
    ]


def test_what_is_no_data_stays_out(drawing):
    (axes,) = drawing.axes
    axes.axhline(1.0)
    axes.axvline(1.0)
    axes.axhspan(0.0, 1.0)
    axes.axvspan(0.0, 1.0)
    axes.plot([], [], label="key")
    axes.plot([np.nan, 1.0], [1.0, np.inf], gid="no numbers")
    axes.annotate("words", (1.0, 1.0))
    assert read(drawing) == []


@pytest.mark.parametrize("name", ["=1+1", "+A1", "-A1", "@A1"])
def test_a_name_is_no_formula(drawing, name):
    (axes,) = drawing.axes
    axes.plot(X, -X, gid=name)
    axes.set_title(f"{name} panel")
    rows = read(drawing)
    assert {row["series"] for row in rows} == {f"'{name}"}
    assert {row["panel"] for row in rows} == {f"'{name} panel"}
    assert numbers(rows, MU) == [-1, -2, -4]


def test_what_else_a_line_tells_stands_behind_a_bar(drawing):
    (axes,) = drawing.axes
    axes.plot(X, X, gid="law")
    axes.plot(X, 2.0 * X, gid="law | one more pack high")
    rows = read(drawing)
    assert len(rows) == 3
    assert numbers(rows, f"{MU}, one more pack high") == [2, 4, 8]


def test_a_panel_that_its_series_or_axis_names_is_not_told_again(drawing):
    (axes,) = drawing.axes
    axes.set_title("rough (new)")
    axes.plot(X, X, gid="rough (new), cold")
    assert "panel" not in read(drawing)[0]
    axes.plot(X, 2.0 * X, gid="all")
    assert [row["panel"] for row in read(drawing)] == [""] * 3 + ["rough (new)"] * 3
    axes.yaxis.set_gid("Clamp load [kN]")
    rows = read(drawing)
    assert list(rows[0]) == ["series", TEMPERATURE, "Clamp load [kN]"]
