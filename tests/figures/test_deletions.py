"""The figure of packs and runs left out: what it shows for whom."""

from dataclasses import replace

import numpy as np
import pytest

from rigdata.figures.deletions import deletions
from rigdata.figures.svg import inline_svg
from rigdata.friction.case_deletion import PACK
from rigdata.friction.results import Group

GROUP = Group("rough", "new")


def marks_at(axes, row, marker):
    """The places of the marks of one kind in a row of the figure."""
    return [
        x
        for line in axes.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
        if y == row
    ]


def test_each_pack_and_run_stands_where_mu_moves_to(fits, marks):
    found = fits[GROUP].deletions
    made = tuple(replace(one, kind="run", change=0.001) for one in found[:1])
    axes = deletions({GROUP: replace(fits[GROUP], deletions=(*found, *made))}, marks).axes[0]
    for row, one in enumerate(o for o in found if o.kind == PACK):
        expected = [100.0 * one.change] + [0.1] * (row == 0)
        assert sorted(marks_at(axes, row, "o")) == pytest.approx(sorted(expected))
    band = axes.collections[0].get_paths()[0].vertices[:, 0]
    u = 100.0 * fits[GROUP].u_reference
    assert [np.min(band), np.max(band)] == pytest.approx([-u, u])


def test_a_run_without_which_mu_is_not_known_is_not_drawn(fits, marks):
    lost = tuple(replace(one, change=None) for one in fits[GROUP].deletions)
    axes = deletions({GROUP: replace(fits[GROUP], deletions=lost)}, marks).axes[0]
    assert marks_at(axes, 0, "o") == []


def test_names_are_text_whatever_they_hold(fits, marks):
    drawing = deletions(fits, marks)
    markup = inline_svg(drawing, name="f", title="t", description="d").markup
    assert "A$x_1$ &amp; co" in markup
    assert "Change of mu at the reference without the pack or run [%]" in markup
