"""Figures as pieces of SVG: the same bytes again, ids of their own, text as text."""

import gc
import re
from xml.etree import ElementTree

import matplotlib as mpl
import pytest

from rigdata.figures import style
from rigdata.figures.svg import inline_svg

SVG = "{http://www.w3.org/2000/svg}"


@style.styled()
def drawn(text="speed"):
    figure = style.figure(3.0)
    axes = figure.add_subplot()
    axes.plot([0.1, 1.0], [1.0, 2.0], color=style.BLUE, marker="s", label=text)
    axes.fill_between([0.1, 1.0], [0.5, 1.0], [1.5, 3.0], color=style.BLACK, alpha=0.2)
    axes.set_title(text)
    style.end_labels(axes, [(2.0, text, style.BLUE)], height_in=3.0)
    figure.legend(loc="outside lower center")
    return figure


def markup(name="one", text="speed", description="It rises."):
    return inline_svg(drawn(text), name=name, title=text, description=description).markup


def ids_of(text):
    return re.findall(r'\bid="([^"]+)"', text)


def test_the_same_figure_gives_the_same_bytes():
    assert markup() == markup()


def test_the_state_of_matplotlib_does_not_matter_and_is_left_alone():
    first = markup()
    with mpl.rc_context({"font.size": 20.0, "axes.facecolor": "red", "text.parse_math": True}):
        before = dict(mpl.rcParams)
        assert markup() == first
        assert dict(mpl.rcParams) == before


def test_title_and_description_are_there_and_named_by_the_role():
    root = ElementTree.fromstring(markup(description="Up & over <1>"))
    assert root.get("role") == "img"
    title, description = root[0], root[1]
    assert (title.tag, description.tag) == (f"{SVG}title", f"{SVG}desc")
    assert description.text == "Up & over <1>"
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"


def test_ids_are_unique_and_prefixed_and_every_reference_is_met():
    text = markup("alpha") + markup("beta")
    ids = ids_of(text)
    assert len(ids) == len(set(ids))
    assert all(name.startswith(("alpha-", "beta-")) for name in ids)
    used = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', text))
    assert used
    assert {a or b for a, b in used} <= set(ids)


def test_nothing_of_a_file_of_its_own_is_left():
    text = markup()
    assert text.startswith("<svg ")
    for unwanted in ("<?xml", "<!DOCTYPE", "<metadata", "<style", "xlink", "matplotlib.org"):
        assert unwanted not in text
    assert set(re.findall(r'https?://[^"]*', text)) == {"http://www.w3.org/2000/svg"}


def test_names_stay_text():
    name = 'A$x_1$ & <script>alert("1")</script>'
    text = markup(text=name)
    assert "<script" not in text
    root = ElementTree.fromstring(text)
    shown = [node.text for node in root.iter(f"{SVG}text")]
    assert shown.count(name) == 2  # title and legend
    assert style.shortened(name) in shown  # beside the line


def test_colours_can_be_set_by_the_page():
    text = markup()
    assert "var(--blue)" in text
    assert re.search(r"(?<!, )#[0-9a-f]{6}", text) is None


def test_fonts_are_the_page_s_own():
    assert "font-family" not in markup()


@pytest.mark.parametrize("name", ["", "1st", "a b", "Ü", 'a"b', "A"])
def test_a_name_that_cannot_be_an_id_is_refused(name):
    with pytest.raises(ValueError, match="lower-case"):
        markup(name)


@pytest.mark.parametrize("enabled", [True, False])
def test_garbage_is_collected_after_drawing_as_before(enabled):
    before = gc.isenabled()
    try:
        gc.enable() if enabled else gc.disable()
        markup()
        assert gc.isenabled() == enabled
    finally:
        gc.enable() if before else gc.disable()
