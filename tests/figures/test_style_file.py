"""The style file: what the figures use, and what a notebook can use."""

import matplotlib as mpl
import pytest
from matplotlib import style as mpl_style

from rigdata.figures import style

COLOURS = {
    style.MUTED: ("axes.edgecolor", "xtick.color", "ytick.color"),
    style.INK: ("axes.labelcolor", "text.color", "xtick.labelcolor", "ytick.labelcolor"),
    style.GRID: ("grid.color",),
}


@pytest.mark.parametrize("colour", COLOURS)
def test_its_shades_are_those_that_the_page_sets(colour: str) -> None:
    with style.styled():
        for key in COLOURS[colour]:
            assert mpl.colors.to_hex(mpl.rcParams[key]) == colour


def test_a_notebook_takes_it_by_its_name() -> None:
    with mpl_style.context("rigdata.figures.rigdata", after_reset=True):
        named = dict(mpl.rcParams)
    with style.styled():
        assert dict(mpl.rcParams) == named
