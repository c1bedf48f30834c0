"""The parts that every section is built of: tables, figures, sections."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from rigdata.figures.picture import Picture
from rigdata.figures.style import Drawing
from rigdata.report.html import Content, Element, Node, element
from rigdata.report.numbers import typeset

_LONGEST_NAME = 34
_PLAIN = " ,;:/()[]*'"  # may stand in the address of embedded data as they are
_MOST_ROWS_TOGETHER = 14  # a longer table may run over a page break in print


@dataclass(frozen=True)
class Section:
    """One section of the report: its id, its heading and what it holds."""

    id: str
    heading: str
    content: tuple[Content, ...]

    def markup(self) -> Element:
        """Return the section as an element, its heading linked from the contents."""
        heading = element("h2", self.heading, id=f"{self.id}-heading")
        return element(
            "section", heading, self.content, id=self.id, aria_labelledby=f"{self.id}-heading"
        )

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """The figures in the section, in their order."""
        return tuple(_pictures(self.markup()))


def _pictures(node: Node) -> Iterator[Picture]:
    if isinstance(node, Picture):
        yield node
    elif isinstance(node, Element):
        for child in node.children:
            yield from _pictures(child)


def table(
    caption: str,
    head: Sequence[Content],
    rows: Iterable[Sequence[Content]],
    *,
    text: Iterable[int] = (),
    dense: bool = False,
) -> Element:
    """Return a table whose first column names its rows.

    Parameters
    ----------
    caption : str
        What the table holds, in a sentence or less.
    head : sequence of str
        Column names with units.
    rows : iterable of sequences
        Cells; as many as `head`.
    text : iterable of int
        Columns besides the first that hold words; the others hold numbers and
        are set flush right.
    dense : bool
        Whether to set the rows close, for long lists that are looked up, not read.
    """
    words = {0, *text}
    kinds = ["words" if i in words else "number" for i in range(len(head))]
    header = element("tr", [element("th", name, scope="col", class_=kind)
                            for name, kind in zip(head, kinds, strict=True)])  # fmt: skip
    body = []
    for row in rows:
        first, *others = row
        # A row's own name stays in one line, unless it would push the others out.
        short = isinstance(first, str) and len(first) <= _LONGEST_NAME
        body.append(
            element(
                "tr",
                element("th", first, scope="row", class_="name" if short else "words"),
                [
                    element("td", cell, class_=kind)
                    for cell, kind in zip(others, kinds[1:], strict=True)
                ],
            )
        )
    classes = ["scroll"]
    if dense:
        classes.append("dense")
    if len(body) <= _MOST_ROWS_TOGETHER:
        classes.append("whole")
    return element(
        "div",
        element(
            "table",
            element("caption", typeset(caption)),
            element("thead", header),
            element("tbody", body),
        ),
        class_=" ".join(classes),
        tabindex="0",  # so that a wide table can be scrolled by keyboard
    )


def figure(drawing: Drawing, *, name: str, title: str, caption: str, description: str) -> Element:
    """Return a figure with its caption, its text alternative and its data as CSV.

    Parameters
    ----------
    drawing : Drawing
        From `rigdata.figures`.
    name : str
        Id of the figure, unique on the page.
    title : str
        What it is, in a few words.
    caption : str
        What to see in it, in one sentence.
    description : str
        What someone who cannot see it should know: axes, range, outcome.
    """
    picture = Picture(name, title, caption, description, drawing)
    data = element(
        "a",
        "Data as CSV",
        href=f"data:text/csv;charset=utf-8,{quote(picture.csv, safe=_PLAIN)}",
        download=f"{name}.csv",
        aria_label=f"Data of {title} as CSV",
        class_="data",
    )
    return element(
        "figure",
        picture,
        element("figcaption", element("b", title + ". "), typeset(caption), " ", data),
    )


def kept(name: object) -> Element:
    """Return a name that stays in one line wherever it stands."""
    return element("span", str(name), class_="name")


def paragraph(*content: Content, class_: str = "") -> Element:
    """Return a paragraph."""
    words = [typeset(part) if isinstance(part, str) else part for part in content]
    return element("p", *words, **({"class_": class_} if class_ else {}))


def items(entries: Iterable[Content]) -> Element:
    """Return a plain list."""
    return element("ul", [element("li", entry) for entry in entries])


def facts(pairs: Iterable[tuple[str, Content]]) -> Element:
    """Return a list of names and what they stand for."""
    return element("dl", [(element("dt", name), element("dd", what)) for name, what in pairs])
