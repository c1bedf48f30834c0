"""The page around the sections: head, table of contents, style sheet.

The page loads nothing from anywhere; its policy forbids every outside source and
every script but the one given here, so that it can be mailed, archived and opened on
any machine.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from importlib.resources import files

from rigdata.report.blocks import Section
from rigdata.report.html import Content, Element, element, render

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def page(
    title: str,
    *,
    header: Content,
    parts: Mapping[str, Sequence[Section]],
    footer: Content,
    script: str | None = None,
) -> str:
    """Return a complete HTML document.

    Parameters
    ----------
    title : str
        Title of the document and its only first-order heading.
    header : content
        What stands under the heading, before the contents.
    parts : mapping of str to sequence of Section
        In order; each section is listed in the contents under the name of its part.
    footer : content
        What stands at the very end.
    script : str, optional
        File of this folder with the only script that may run; none by default.
    """
    contents = element(
        "nav",
        element("h2", "Contents", id="contents"),
        element("ul", [_listed(name, own) for name, own in parts.items() if own]),
        aria_labelledby="contents",
    )
    body = element(
        "body",
        element("header", element("h1", title), header),
        contents,
        element("main", [section.markup() for own in parts.values() for section in own]),
        element("footer", footer),
        None if script is None else element("script", _own(script)),
    )
    return document(title, ("report.css", "print.css"), body, script=script)


def document(
    title: str,
    sheets: Sequence[str],
    body: Content,
    *,
    script: str | None = None,
    refresh_s: float | None = None,
) -> str:
    """Return a whole HTML document around its body, with style sheets of this folder inside.

    Of scripts none may run but `script`, a file of this folder that stands in the body.
    With `refresh_s` a browser that shows the page loads it again so often. [s]
    """
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=_policy(script)),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        None
        if refresh_s is None
        else element("meta", http_equiv="refresh", content=f"{refresh_s:g}"),
        element("title", title),
        element("style", *map(_own, sheets)),
    )
    return "<!DOCTYPE html>\n" + render(element("html", head, body, lang="en")) + "\n"


def _listed(part: str, sections: Sequence[Section]) -> Element:
    links = [element("li", element("a", s.heading, href=f"#{s.id}")) for s in sections]
    return element("li", element("b", part), element("ul", links))


def _own(name: str) -> str:
    """Return the text of a file that comes with this folder."""
    return files("rigdata.report").joinpath(name).read_text(encoding="utf-8")


def _policy(script: str | None) -> str:
    """Return the content security policy, which names the script by its hash."""
    if script is None:
        return _POLICY
    digest = base64.b64encode(hashlib.sha256(_own(script).encode()).digest()).decode()
    return f"{_POLICY}; script-src 'sha256-{digest}'"
