"""From a matplotlib figure to a piece of SVG that can stand inside a page.

The same figure gives the same bytes; ids are unique over a page that gives
each figure its own name; colours become CSS variables so that the page can
set them for a dark screen; and the title and the description are there for
those who cannot see the figure.
"""

from __future__ import annotations

import gc
import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from xml.etree import ElementTree

from matplotlib.figure import Figure

from rigdata.figures import style

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_VARIABLES = {
    style.BLACK: "black",
    style.BLUE: "blue",
    style.VERMILION: "vermilion",
    style.GREEN: "green",
    style.PURPLE: "purple",
    style.INK: "ink",
    style.MUTED: "muted",
    style.GRID: "grid",
    style.PAPER: "paper",
}
_LOCAL = re.compile(r"url\(#([^)]+)\)")
_FONT_FAMILY = re.compile(r"\s*font-family:[^;]*;?")
_DECIMAL = re.compile(r"-?\d+\.\d+")
_NAME = re.compile(r"[a-z][a-z0-9-]*")


@dataclass(frozen=True)
class InlineSvg:
    """SVG made by `inline_svg`; the only markup that a page takes as it is."""

    markup: str


def inline_svg(figure: Figure, *, name: str, title: str, description: str) -> InlineSvg:
    """Return `figure` as SVG to be placed inside a page.

    Parameters
    ----------
    figure : matplotlib Figure
        Drawn in the style of `rigdata.figures.style`.
    name : str
        Prefix of every id; unique on the page; lower-case letters, digits and ``-``.
    title, description : str
        Text alternative: what the figure is, and what there is to see.

    Raises
    ------
    ValueError
        When `name` cannot be an id.
    """
    if not _NAME.fullmatch(name):
        raise ValueError(f"figure name {name!r} is not lower-case letters, digits and '-'")
    buffer = io.StringIO()
    with style.styled(), _uncollected():
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    root = ElementTree.fromstring(buffer.getvalue())  # our own output: no foreign XML
    _strip(root)
    _rename(root, name)
    for node in root.iter():
        _restyle(node)
    _hoist_styles(root)
    _describe(root, name, title, description)
    # The names of the page's own dialect: SVG inside HTML needs no prefixes.
    ElementTree.register_namespace("", _SVG[1:-1])
    return InlineSvg(ElementTree.tostring(root, encoding="unicode").replace(" />", "/>"))


def svg_file(figure: Figure, *, title: str, description: str) -> str:
    """Return `figure` as the text of an SVG file of its own, on white.

    Parameters
    ----------
    figure : matplotlib Figure
        Drawn in the style of `rigdata.figures.style`.
    title, description : str
        Text alternative: what the figure is, and what there is to see.
    """
    buffer = io.StringIO()
    with style.styled():
        figure.savefig(buffer, format="svg", facecolor=style.PAPER, metadata={"Date": None})
    ElementTree.register_namespace("", _SVG[1:-1])
    ElementTree.register_namespace("xlink", _HREF[1:].partition("}")[0])
    root = ElementTree.fromstring(buffer.getvalue())
    for metadata in root.findall(f"{_SVG}metadata"):
        root.remove(metadata)
    _describe(root, "figure", title, description)
    body = ElementTree.tostring(root, encoding="unicode")
    return f"<?xml version='1.0' encoding='utf-8'?>\n{body}\n"


@contextmanager
def _uncollected() -> Iterator[None]:
    """Leave garbage while drawing: what is made lives to the end, and looking costs a fifth."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


def _strip(root: ElementTree.Element) -> None:
    """Drop what is of no use inside a page: metadata, global rules, a fixed size."""
    for unwanted in root.findall(f"{_SVG}metadata"):
        root.remove(unwanted)
    for definitions in root.findall(f"{_SVG}defs"):
        for rule in definitions.findall(f"{_SVG}style"):
            definitions.remove(rule)
        if not len(definitions):
            root.remove(definitions)
    for attribute in ("width", "height", "version"):
        root.attrib.pop(attribute, None)
    root.set("style", "stroke-linejoin: round; stroke-linecap: butt; fill: var(--black)")


def _rename(root: ElementTree.Element, name: str) -> None:
    """Prefix the ids that something refers to, and drop the others."""
    wanted: set[str] = set()
    for node in root.iter():
        wanted.update(target for v in node.attrib.values() for target in _LOCAL.findall(v))
        if _HREF in node.attrib:
            wanted.add(node.attrib[_HREF].removeprefix("#"))
    # Numbered in order of appearance, so that a point moved does not rename the rest.
    seen: dict[str, str] = {}
    for node in root.iter():
        old = node.attrib.pop("id", None)
        if old in wanted and old not in seen:
            seen[old] = f"{name}-{len(seen) + 1}"
            node.set("id", seen[old])
    for node in root.iter():
        target = node.attrib.pop(_HREF, None)
        if target is not None:
            node.set("href", "#" + seen[target.removeprefix("#")])
        for key, value in node.attrib.items():
            node.set(key, _LOCAL.sub(lambda found: f"url(#{seen[found.group(1)]})", value))


def _restyle(node: ElementTree.Element) -> None:
    """Let the page choose the font and the exact shades; shorten path data."""
    if "style" in node.attrib:
        text = _FONT_FAMILY.sub("", node.attrib["style"]).strip()
        for colour, variable in _VARIABLES.items():
            text = re.sub(rf"{colour}\b", f"var(--{variable})", text)
        node.set("style", text)
    if "d" in node.attrib:
        # A hundredth of a point for the shape of a marker, a tenth for where things are.
        digits = 2 if "id" in node.attrib else 1
        path = " ".join(node.attrib["d"].split())
        node.set("d", _DECIMAL.sub(lambda found: _to(found[0], digits), path))
    for side in ("x", "y"):
        if node.tag == f"{_SVG}use" and side in node.attrib:
            node.set(side, _to(node.attrib[side], 1))
    if node.get("transform", "").startswith("rotate(-0 "):
        del node.attrib["transform"]
    if node.text is not None and not node.text.strip():
        node.text = None
    node.tail = None


def _to(number: str, digits: int) -> str:
    """Return a decimal number with at most so many digits behind the point."""
    return f"{float(number):.{digits}f}".rstrip("0").rstrip(".")


def _hoist_styles(root: ElementTree.Element) -> None:
    """Say a style once where all markers of a series share it."""
    for group in root.iter(f"{_SVG}g"):
        styles = {child.get("style") for child in group}
        if len(group) > 1 and len(styles) == 1 and "style" not in group.attrib:
            (shared,) = styles
            if shared and all(child.tag == f"{_SVG}use" for child in group):
                group.set("style", shared)
                for child in group:
                    del child.attrib["style"]


def _describe(root: ElementTree.Element, name: str, title: str, description: str) -> None:
    """Give the drawing its role, title and description."""
    root.set("role", "img")
    root.set("aria-labelledby", f"{name}-title {name}-desc")
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        node = ElementTree.Element(f"{_SVG}{tag}", {"id": f"{name}-{tag}"})
        node.text = text
        root.insert(place, node)
