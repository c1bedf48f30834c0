"""The style: contrast, marks that need no colour, labels that do not touch."""

import numpy as np
import pytest

from rigdata.figures import style


def luminance(colour):
    """Relative luminance of WCAG 2.1."""
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("look", style.MARKS, ids=lambda look: look.colour)
def test_marks_stand_out_from_white(look):
    assert contrast(look.colour, style.PAPER) >= 3.0  # WCAG 2.1, 1.4.11


def test_words_stand_out_from_white():
    assert contrast(style.INK, style.PAPER) >= 7.0
    assert contrast(style.MUTED, style.PAPER) >= 4.5


def test_marks_differ_in_shape_and_line_too():
    for part in ("colour", "marker", "line"):
        assert len({getattr(look, part) for look in style.MARKS}) == len(style.MARKS)


def test_marks_follow_the_order_of_names_and_repeat_after_five():
    marks = style.marks_of("abcdef")
    assert list(marks) == list("abcdef")
    assert marks["a"] == marks["f"] != marks["b"]


def test_packs_have_a_shape_each_in_order_of_appearance():
    assert style.pack_markers(["B", "A", "B"]) == {"B": "o", "A": "s"}


def test_far_apart_labels_stay_where_they_are():
    wanted = np.array([0.9, 0.1, 0.5])
    assert style.spread_out(wanted, 0.1) == pytest.approx(wanted)


def test_labels_that_would_touch_move_apart_about_their_middle():
    assert style.spread_out(np.array([0.5, 0.5]), 0.1) == pytest.approx([0.45, 0.55])


def test_a_label_pushed_onto_another_takes_it_along():
    placed = style.spread_out(np.array([0.30, 0.0, 0.01, 0.02]), 0.1)
    order = np.argsort([0.30, 0.0, 0.01, 0.02], kind="stable")
    assert np.diff(placed[order]).min() >= 0.1 - 1e-12
    assert placed[[1, 2, 3]].mean() == pytest.approx(0.01)


def test_units_are_typeset():
    assert style.axis_label("torque") == "Friction torque [N·m]"
    assert style.axis_label("temperature_c") == "Plate temperature [°C]"
    assert style.axis_label("mu") == "Friction coefficient"


def test_a_long_name_is_shortened_and_a_short_one_is_not():
    assert style.shortened("A1") == "A1"
    assert style.shortened("x" * 80, 10) == "x" * 9 + "…"
