"""A small builder of HTML: text is always escaped, whatever it says.

Names and remarks come from files that anyone may have written, so no string
ever becomes markup; the only markup taken as it is comes from
`rigdata.figures`, which draws the pictures.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass

from rigdata.figures.picture import Picture
from rigdata.figures.svg import InlineSvg

_VOID = frozenset({"meta", "br", "hr", "col", "input"})
_RAW = frozenset({"script", "style"})  # their text is no markup, so nothing is escaped in it
_ONE_LINE = frozenset({"tr", "li", "p", "h1", "h2", "h3", "title", "caption", "figcaption"})


@dataclass(frozen=True)
class Element:
    """One element with its attributes and its children, text or elements."""

    tag: str
    attributes: tuple[tuple[str, str], ...] = ()
    children: tuple[Node, ...] = ()

    def __str__(self) -> str:
        return render(self)


Node = str | Element | Picture | InlineSvg
Content = Node | None | Iterable["Content"]


def element(tag: str, *content: Content, **attributes: str) -> Element:
    """Return an element; None is left out and lists are opened up.

    Attribute names take ``_`` for ``-``; a trailing ``_`` avoids Python's own
    words, as in ``class_``.

    >>> str(element("span", "3 < 4 ", element("b", "& so on"), class_="note"))
    '<span class="note">3 &lt; 4 <b>&amp; so on</b></span>'
    """
    named = tuple((k.rstrip("_").replace("_", "-"), v) for k, v in attributes.items())
    return Element(tag, named, tuple(_opened(content)))


def _opened(content: Content) -> Iterable[Node]:
    if content is None:
        return
    if isinstance(content, (str, Element, Picture, InlineSvg)):
        yield content
    else:
        for part in content:
            yield from _opened(part)


def render(node: Node) -> str:
    """Return the markup of a node.

    Raises
    ------
    ValueError
        When the text of a script or style would end its own element.
    """
    if isinstance(node, Picture):
        return node.inline.markup
    if isinstance(node, InlineSvg):
        return node.markup
    if isinstance(node, str):
        return html.escape(node, quote=False)
    attributes = "".join(f' {name}="{html.escape(value)}"' for name, value in node.attributes)
    opening = f"<{node.tag}{attributes}>"
    if node.tag in _VOID:
        return opening
    # One line to a block keeps the file readable and its differences small.
    closing = f"</{node.tag}>" + ("\n" if node.tag in _ONE_LINE else "")
    if node.tag in _RAW:
        text = "".join(str(child) for child in node.children)
        if "</" in text or "<!--" in text:
            raise ValueError(f"the text of <{node.tag}> would end the element")
        return opening + text + closing
    return opening + "".join(render(child) for child in node.children) + closing
