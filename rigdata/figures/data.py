"""What a figure shows as a table: read off the drawing itself, so that the two cannot differ.

A figure names what it draws by the `gid` of each artist, such as
``gid="rough (new) A1"``; a label does too.  What has neither stays without a
name.  Behind a bar stands what else a line tells of the places of its series,
such as ``gid="rough (new) law | one more pack low"``.  The `gid` of an axis
names what stands on it where its panel has a title in place of a label.  Lines
across the whole axes, shading and words are no data.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.collections import LineCollection, PathCollection, PolyCollection
from matplotlib.container import BarContainer, ErrorbarContainer
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter

from rigdata.arrays import FloatArray
from rigdata.figures.style import plain_unit
from rigdata.reduction.points_file import written_cell

_DIGITS = 5
_ENDS = ("low", "high")


@dataclass(frozen=True, eq=False)
class _Piece:
    """One artist: its name, what it tells beside a value, such as ``low``, its places, (n, 2)."""

    name: str
    end: str
    places: FloatArray


@dataclass(frozen=True, eq=False)
class _Block:
    """Rows of one series: cells by column, each as long as the others."""

    panel: str
    name: str
    cells: dict[str, list[str]]


def figure_csv(drawing: Figure) -> str:
    """Return what `drawing` shows as CSV, one row a place.

    Columns are ``panel``, ``series``, then one for each axis label with its unit, and its
    ``low`` and ``high`` end where there are intervals.  A place on an axis of names is given
    as its name.  What one series shows of the same places, such as a line and its band or
    one point in several panels, stands in one row.
    """
    blocks: list[_Block] = []
    for axes in drawing.axes:
        if axes.get_visible():
            for block in _blocks(axes):
                _add(blocks, block)
    columns = list(dict.fromkeys(column for block in blocks for column in block.cells))
    panels = any(block.panel for block in blocks)
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([*(["panel"] if panels else []), "series", *columns])
    for block in blocks:
        length = len(next(iter(block.cells.values())))
        lead = [*([block.panel] if panels else []), block.name]
        cells = [block.cells.get(column, [""] * length) for column in columns]
        writer.writerows([*lead, *row] for row in zip(*cells, strict=True))
    return file.getvalue()


def _add(blocks: list[_Block], block: _Block) -> None:
    """Add a block, beside an earlier one of its series where both tell of the same places."""
    for i, other in enumerate(blocks):
        shared = block.cells.keys() & other.cells.keys()
        same = all(block.cells[column] == other.cells[column] for column in shared)
        if other.name == block.name and shared and same:
            panel = other.panel if other.panel == block.panel else ""
            blocks[i] = _Block(panel, block.name, {**other.cells, **block.cells})
            return
    blocks.append(block)


def _blocks(axes: Axes) -> Iterator[_Block]:
    """Return what was drawn in data coordinates, places that are not numbers left out."""
    labels = _heading(axes, axes.xaxis, "x"), _heading(axes, axes.yaxis, "y")
    names = _names(axes.xaxis), _names(axes.yaxis)
    titles = [axes.get_title(side) for side in ("left", "center", "right")]
    panel = "" if axes.xaxis.get_gid() or axes.yaxis.get_gid() else max(titles, key=len)
    across = 0 if names[1] else 1  # the axis along which an interval reaches
    for piece in _drawn(axes):
        known = piece.places[np.isfinite(piece.places).all(axis=1)]
        if known.size:
            columns = [f"{labels[i]}, {piece.end}" if piece.end and i == across else labels[i]
                       for i in (0, 1)]  # fmt: skip
            told = [_told(known[:, i], names[i]) for i in (0, 1)]
            lead = "" if piece.name.startswith(panel) else _line(panel)
            yield _Block(lead, _line(piece.name), dict(zip(columns, told, strict=True)))


def _drawn(axes: Axes) -> Iterator[_Piece]:
    whiskers = [c for c in axes.containers if isinstance(c, ErrorbarContainer)]
    caps = {cap for container in whiskers for cap in container.lines[1]}
    names = {bar: _name(c.lines[0]) for c in whiskers for bar in c.lines[2]}
    for line in axes.lines:
        if line not in caps and line.get_transform() is axes.transData:
            yield from _of_line(_name(line), np.asarray(line.get_xydata(), dtype=np.float64))
    for drawn in axes.collections:
        if isinstance(drawn, PathCollection):
            yield _Piece(_name(drawn), "", np.asarray(drawn.get_offsets(), dtype=np.float64))
        elif drawn.get_transform() is not axes.transData:
            continue
        elif isinstance(drawn, LineCollection):
            ends = np.array([np.asarray(path.vertices)[[0, -1]] for path in drawn.get_paths()])
            for i, end in enumerate(_ENDS):
                yield _Piece(names.get(drawn, _name(drawn)), end, ends.reshape(-1, 2, 2)[:, i])
        elif isinstance(drawn, PolyCollection):
            yield from _of_band(drawn)
    for bars in axes.containers:
        if isinstance(bars, BarContainer) and len(bars):
            yield _Piece(_name(bars[0]), "", _bar_ends(bars))


def _of_line(name: str, places: FloatArray) -> Iterator[_Piece]:
    """Return a line; one that is torn after every second place is a row of bars."""
    gaps = np.flatnonzero(~np.isfinite(places).all(axis=1))
    if len(places) % 3 == 0 and np.array_equal(gaps, np.arange(2, len(places), 3)):
        for i, end in enumerate(_ENDS):
            yield _Piece(name, end, places[i::3])
        return
    name, _, end = name.partition(" | ")
    yield _Piece(name, end, places)


def _of_band(drawn: PolyCollection) -> Iterator[_Piece]:
    """Return both edges of the polygons that `fill_between` made.

    An outline starts on the high edge, follows the low one forward and the high one back.
    """
    lows, highs = [], []
    for path in drawn.get_paths():
        outline = np.asarray(path.vertices, dtype=np.float64)
        n = (len(outline) - 3) // 2
        lows.append(outline[1 : n + 1])
        highs.append(outline[2 * n + 1 : n + 1 : -1])
    for end, edges in zip(_ENDS, (lows, highs), strict=True):
        if edges:
            yield _Piece(_name(drawn), end, np.concatenate(edges))


def _bar_ends(bars: BarContainer) -> FloatArray:
    """Return where each bar ends, in the middle of its width."""
    level = bars.orientation == "horizontal"
    ends = [
        (b.get_x() + b.get_width(), b.get_y() + b.get_height() / 2.0)
        if level
        else (b.get_x() + b.get_width() / 2.0, b.get_y() + b.get_height())
        for b in bars
    ]
    return np.array(ends, dtype=np.float64)


def _name(artist: Artist) -> str:
    label = str(artist.get_label())
    return artist.get_gid() or ("" if label.startswith("_") else label)


def _heading(axes: Axes, axis: Axis, letter: str) -> str:
    """Return the label of an axis, or that of a panel or figure that it shares it with."""
    shared = axes.get_shared_x_axes() if letter == "x" else axes.get_shared_y_axes()
    labels: Iterable[str] = [
        axis.get_gid() or "",
        axis.get_label_text(),
        *((a.get_xlabel() if letter == "x" else a.get_ylabel()) for a in shared.get_siblings(axes)),
        axes.figure.get_supxlabel() if letter == "x" else axes.figure.get_supylabel(),
    ]
    found = next((label for label in labels if label), letter)
    return _line(found)


def _names(axis: Axis) -> dict[float, str]:
    """Return the names that stand at an axis in place of numbers; none for an axis of numbers."""
    locator, formatter = axis.get_major_locator(), axis.get_major_formatter()
    if not (isinstance(locator, FixedLocator) and isinstance(formatter, FuncFormatter)):
        return {}
    return {float(place): formatter(place, i) for i, place in enumerate(locator())}


def _told(values: FloatArray, names: dict[float, str]) -> list[str]:
    if names:
        nearest = (min(names, key=lambda place: abs(place - v)) for v in values.tolist())
        return [_line(names[place]) for place in nearest]
    return [f"{value:.{_DIGITS}g}" for value in values.tolist()]


def _line(text: str) -> str:
    """Return words as a cell of one line, with plain units, never a formula."""
    return written_cell(plain_unit(" ".join(text.split())))
