"""A figure as a file of its own: SVG with a text alternative, PNG or PDF."""

from __future__ import annotations

import io
from pathlib import Path

from matplotlib.figure import Figure

from rigdata.errors import ResultError
from rigdata.figures import style
from rigdata.figures.svg import svg_file
from rigdata.storage.files import write_bytes, write_text

KINDS = (".svg", ".png", ".pdf")
_DPI = 200


def save_figure(figure: Figure, path: Path, *, title: str, description: str) -> None:
    """Write a figure in the format that the ending of `path` names.

    Raises
    ------
    ResultError
        When the ending names no format, or the file cannot be written.
    """
    kind = path.suffix.casefold()
    if kind not in KINDS:
        raise ResultError(
            f"no figure can be written as '{kind}'",
            where=str(path),
            expected="a name that ends in " + ", ".join(KINDS),
        )
    if kind == ".svg":
        write_text(path, svg_file(figure, title=title, description=description))
        return
    held = io.BytesIO()
    with style.styled():
        figure.savefig(held, format=kind[1:], dpi=_DPI, facecolor=style.PAPER)
    write_bytes(path, held.getvalue())
