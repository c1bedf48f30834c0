"""The element builder: text is text, and only our own SVG is markup."""

import pytest

from rigdata.figures.svg import InlineSvg
from rigdata.report.html import element, render


def test_text_is_escaped():
    assert render(element("b", "<i>&amp;</i>")) == "<b>&lt;i&gt;&amp;amp;&lt;/i&gt;</b>"


def test_an_attribute_cannot_end_early():
    assert render(element("b", title='a" onclick="b')) == (
        '<b title="a&quot; onclick=&quot;b"></b>'
    )


def test_only_our_svg_is_taken_as_it_is():
    assert render(element("b", InlineSvg("<svg></svg>"))) == "<b><svg></svg></b>"
    assert "&lt;svg" in render(element("b", "<svg></svg>"))


def test_lists_open_up_and_nothing_is_left_out():
    parts = ["a", None, ("b", [element("i", "c")]), (x for x in "de")]
    assert render(element("b", *parts)) == "<b>ab<i>c</i>de</b>"


def test_attribute_names():
    assert render(element("b", class_="x", aria_label="y")) == '<b class="x" aria-label="y"></b>'


def test_void_elements_have_no_end():
    assert render(element("meta", charset="utf-8")) == '<meta charset="utf-8">'


@pytest.mark.parametrize("tag", ["p", "li", "tr"])
def test_blocks_end_their_line(tag):
    assert render(element(tag, "x")) == f"<{tag}>x</{tag}>\n"
