"""The page around the sections: head, table of contents, style sheet.

The page loads nothing from anywhere; its policy forbids scripts and every
outside source, so that it can be mailed, archived and opened on any machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files

from rigdata.report.blocks import Section
from rigdata.report.html import Content, element, render

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def page(title: str, *, header: Content, sections: Sequence[Section], footer: Content) -> str:
    """Return a complete HTML document.

    Parameters
    ----------
    title : str
        Title of the document and its only first-order heading.
    header : content
        What stands under the heading, before the contents.
    sections : sequence of Section
        In order; each is listed in the contents.
    footer : content
        What stands at the very end.
    """
    contents = element(
        "nav",
        element("h2", "Contents", id="contents"),
        element("ol", [element("li", element("a", s.heading, href=f"#{s.id}")) for s in sections]),
        aria_labelledby="contents",
    )
    body = element(
        "body",
        element("header", element("h1", title), header),
        contents,
        element("main", [section.markup() for section in sections]),
        element("footer", footer),
    )
    return document(title, "report.css", body)


def document(title: str, sheet: str, body: Content) -> str:
    """Return a whole HTML document around its body, with a style sheet of this folder inside."""
    style = files("rigdata.report").joinpath(sheet).read_text(encoding="utf-8")
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("title", title),
        element("style", style),
    )
    return "<!DOCTYPE html>\n" + render(element("html", head, body, lang="en")) + "\n"
