"""Contrast of the colours of the page and its figures, light and dark (WCAG 2.2, 1.4.3, 1.4.11).

Relative luminance and contrast ratio are those of WCAG 2.2 (W3C Recommendation,
5 October 2023), definitions "relative luminance" and "contrast ratio".
"""

import re
from importlib.resources import files

import pytest

from rigdata.figures import style
from rigdata.figures.svg import _VARIABLES

SHEET = files("rigdata.report").joinpath("report.css").read_text(encoding="utf-8")
PRINT = files("rigdata.report").joinpath("print.css").read_text(encoding="utf-8")
TEXT, MARKS = ("ink", "muted", "link"), ("black", "blue", "vermilion", "green", "purple", "muted")


def colours(sheet):
    """Return the variables of the light and of the dark screen."""
    light, dark = re.findall(r":root\s*{([^}]*)}", sheet)[:2]
    return [dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6});", part)) for part in (light, dark)]


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_known_pairs():
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # WebAIM's checker


@pytest.mark.parametrize("screen", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "tint"])
def test_text_and_marks_stand_out(screen, ground):
    found = colours(SHEET)[screen]
    for name in TEXT:
        assert contrast(found[name], found[ground]) >= 4.5, name
    for name in MARKS:
        assert contrast(found[name], found[ground]) >= 3.0, name


def test_figures_alone_stand_out_on_their_own_paper():
    """A figure in a file of its own has no style sheet."""
    assert all(contrast(mark.colour, style.PAPER) >= 3.0 for mark in style.MARKS)
    assert all(contrast(c, style.PAPER) >= 4.5 for c in (style.INK, style.MUTED))


def test_every_colour_of_a_figure_has_its_variable_on_both_screens():
    for found in colours(SHEET):
        assert set(_VARIABLES.values()) <= set(found)


def test_the_dark_screen_does_not_reach_paper():
    assert re.findall(r"@media ([^{]*prefers-color-scheme[^{]*){", SHEET) == [
        "screen and (prefers-color-scheme: dark) "
    ]
    assert "color-scheme: only light" in PRINT
    assert re.search(r"figure[^{]*{ break-inside: avoid; }", PRINT)
