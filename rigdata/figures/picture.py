"""A figure of a campaign together with what it shows, in words and in numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from rigdata.figures.data import figure_csv
from rigdata.figures.files import save_figure
from rigdata.figures.style import Drawing
from rigdata.figures.svg import InlineSvg, inline_svg, svg_file


@dataclass(frozen=True, eq=False)
class Picture:
    """One figure as it stands in the report; in a notebook it shows itself.

    Attributes
    ----------
    name : str
        Its id: lower-case letters, digits and ``-``.
    title : str
        What it is, in a few words.
    caption : str
        What to see in it, in one sentence.
    description : str
        What someone who cannot see it should know: axes, range, outcome.
    figure : matplotlib Figure
        The drawing, in the style of the report.
    """

    name: str
    title: str
    caption: str
    description: str
    figure: Drawing

    @cached_property
    def inline(self) -> InlineSvg:
        """SVG to stand inside a page; drawn once."""
        return inline_svg(
            self.figure, name=self.name, title=self.title, description=self.description
        )

    def has_been_drawn(self, svg: InlineSvg) -> None:
        """Take what another process drew of it as its `inline`."""
        self.__dict__["inline"] = svg

    @property
    def csv(self) -> str:
        """What is drawn, as CSV: one row a mark, units in the column names."""
        return figure_csv(self.figure)

    def save(self, path: Path | str) -> Path:
        """Write the figure as SVG, PNG or PDF, by the ending of `path`; return the path.

        Raises
        ------
        ResultError
            When the ending names no format, or the file cannot be written.
        """
        place = Path(path)
        save_figure(self.figure, place, title=self.title, description=self.description)
        return place

    def _repr_svg_(self) -> str:
        return svg_file(self.figure, title=self.title, description=self.description)
