"""The one style of every figure: colours, marks, axes and direct labels.

Lines, grid and letters are those of ``rigdata.mplstyle`` in this folder.

Colours are chosen to be told apart with any colour vision and to stand out
from white by 3:1 or more (Okabe and Ito's set without its pale members, its
purple a little darker); each also comes with its own marker and line, so that
no figure needs colour.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import as_file, files
from typing import Any, TypeVar

import numpy as np
from matplotlib import rc_params_from_file
from matplotlib import style as mpl_style
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from rigdata.arrays import FloatArray
from rigdata.quantities import QUANTITIES

Drawing = Figure  # what the figure modules return and `inline_svg` takes
Named = TypeVar("Named", bound=Hashable)

BLACK = "#000000"
BLUE = "#0072b2"
VERMILION = "#d55e00"
GREEN = "#009e73"
PURPLE = "#c06a9b"
INK = "#222222"
MUTED = "#666666"
GRID = "#dddddd"
PAPER = "#ffffff"

WIDTH_IN = 7.6  # the text width of the report; every figure is as wide

with as_file(files("rigdata.figures").joinpath("rigdata.mplstyle")) as _path:
    _RC: dict[str, Any] = {
        str(key): value
        for key, value in rc_params_from_file(_path, use_default_template=False).items()
    }


@contextmanager
def styled() -> Iterator[None]:
    """Draw in the style of the report; also a decorator. Nothing global stays changed."""
    with mpl_style.context(_RC, after_reset=True):
        yield


@dataclass(frozen=True)
class Mark:
    """How one material, batch or state looks: always three things at once."""

    colour: str
    marker: str
    line: str | tuple[int, tuple[float, ...]]


MARKS = (
    Mark(BLACK, "o", "-"),
    Mark(BLUE, "s", (0, (6.0, 1.6))),
    Mark(VERMILION, "^", (0, (6.0, 1.6, 1.2, 1.6))),
    Mark(GREEN, "D", (0, (3.0, 1.3))),
    Mark(PURPLE, "v", (0, (6.0, 1.6, 1.2, 1.6, 1.2, 1.6))),
)
PACK_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "p")


def marks_of(names: Iterable[Named]) -> dict[Named, Mark]:
    """Return the look of each name, in their order; the set repeats after five.

    Taken once for a report, so that a material looks the same in every figure.
    """
    return {name: MARKS[i % len(MARKS)] for i, name in enumerate(names)}


def pack_markers(packs: Sequence[str]) -> dict[str, str]:
    """Return one marker shape for each pack name, in order of first appearance."""
    names = list(dict.fromkeys(str(pack) for pack in packs))
    return {name: PACK_MARKERS[i % len(PACK_MARKERS)] for i, name in enumerate(names)}


def shortened(name: str, most: int = 26) -> str:
    """Return a name that fits into a figure; the tables give it in full."""
    return name if len(name) <= most else name[: most - 1] + "\N{HORIZONTAL ELLIPSIS}"


def figure(height_in: float, *, width_in: float = WIDTH_IN) -> Figure:
    """Return an empty figure of the report's width. [in]"""
    return Figure(figsize=(width_in, height_in))


def typeset_unit(text: str) -> str:
    """Return `text` with the plain unit names of the files set as in print."""
    return text.replace("degC", "\N{DEGREE SIGN}C").replace("N*m", "N\N{MIDDLE DOT}m")


def plain_unit(text: str) -> str:
    """Return `text` with the unit names of the files in place of signs, for data."""
    return text.replace("\N{DEGREE SIGN}C", "degC").replace("N\N{MIDDLE DOT}m", "N*m")


def axis_label(quantity: str) -> str:
    """Return the axis label of an entry of `QUANTITIES`, with its unit."""
    label = typeset_unit(QUANTITIES[quantity].label)
    return label[0].upper() + label[1:]


def log_speed_axis(axes: Axes) -> None:
    """Make the x axis logarithmic, with plain numbers at 1, 2 and 5.

    A range too narrow for two of these stays linear.
    """
    low, high = axes.get_xlim()
    if low > 0.0 and high < 4.0 * low:
        return
    axes.set_xscale("log")
    low, high = axes.get_xlim()
    wide = np.log10(high / low) > 2.5  # more labels than this would touch each other
    steps = (1.0,) if wide else (1.0, 2.0, 5.0)
    axes.xaxis.set_major_locator(LogLocator(base=10.0, subs=steps, numticks=20))
    axes.xaxis.set_minor_locator(LogLocator(base=10.0, subs=tuple(range(2, 10)), numticks=20))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())


def spread_out(wanted: FloatArray, gap: float) -> FloatArray:
    """Move positions apart until neighbours are `gap` or more apart.

    Parameters
    ----------
    wanted : (n,) array
        Positions, in any order.
    gap : float
        Smallest distance allowed, in the same unit.

    Returns
    -------
    (n,) array
        Positions in the order of `wanted`, with each cluster kept centred.
    """
    order = np.argsort(wanted, kind="stable")
    clusters: list[list[float]] = []  # of [sum of wanted positions, members]
    for position in np.asarray(wanted, dtype=float)[order]:
        clusters.append([float(position), 1.0])
        while len(clusters) > 1:
            (low, below), (high, above) = clusters[-2:]
            if high / above - low / below >= gap * (below + above) / 2.0:
                break
            clusters[-2:] = [[low + high, below + above]]
    placed = np.empty(len(order))
    start = 0
    for total, members in clusters:
        n = int(members)
        places = total / n + gap * (np.arange(n) - (n - 1) / 2.0)
        placed[order[start : start + n]] = places
        start += n
    return placed


def end_labels(axes: Axes, labels: Sequence[tuple[float, str, str]], *, height_in: float) -> None:
    """Write names beside the right ends of lines, moved apart where they would touch.

    Parameters
    ----------
    axes : matplotlib axes
        With its y limits already final.
    labels : sequence of (y, text, colour)
        Where each line ends, in data units, its name and its colour.
    height_in : float
        Height of the figure; decides how much one line of text takes. [in]
    """
    if not labels:
        return
    low, high = axes.get_ylim()
    wanted = np.array([(y - low) / (high - low) for y, _, _ in labels])
    placed = spread_out(wanted, gap=12.5 / (72.0 * 0.8 * height_in))
    for (_, text, colour), at, place in zip(labels, wanted, placed, strict=True):
        axes.annotate(
            shortened(text),
            xy=(1.0, float(at)),
            xytext=(1.03, float(place)),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            ha="left",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.9, "shrinkA": 1, "shrinkB": 1},
        )
