"""Every column of a log against time, with what was flagged."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.logs.flags import Flag
from rigdata.logs.inspection import ColumnLook, LogLook

MOST_PANELS = 16
_PANEL_IN, _REST_IN = 0.95, 0.75
_MARKERS = {
    Flag.MISSING: "x",
    Flag.SATURATED: "^",
    Flag.SPIKE: "v",
    Flag.STUCK: "s",
    Flag.GAP: "D",
}


@style.styled()
def log_columns(look: LogLook) -> Figure:
    """Draw the columns of a log, one panel each, at most 16.

    A panel shows the band from lowest to highest number in each of its stretches
    of time; flagged stretches are marked at its foot, one shape for each kind.
    """
    shown = look.columns[:MOST_PANELS]
    drawing = style.figure(_PANEL_IN * len(shown) + _REST_IN)
    panels = drawing.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
    for panel, column in zip(panels, shown, strict=True):
        _draw(panel, column, look)
    panels[-1].set_xlabel(f"Time [s]{_left_out(look)}")
    kinds = [flag for flag in Flag if any(flag in column.marks for column in shown)]
    if kinds:
        handles = [
            panels[0].plot([], [], ls="", marker=_MARKERS[flag], color=style.VERMILION)[0]
            for flag in kinds
        ]
        drawing.legend(
            handles, [flag.words for flag in kinds], loc="outside lower right", ncols=len(kinds)
        )
    return drawing


def described(look: LogLook) -> str:
    """Return the text alternative of the figure."""
    words = [
        f"{column.name} from {column.low:.5g} to {column.high:.5g}"
        + (f" ({_flagged(column)})" if column.counts else "")
        for column in look.columns[:MOST_PANELS]
    ]
    return f"Against time from {look.start_s:g} s to {look.end_s:g} s: " + "; ".join(words)


def _draw(panel: Axes, column: ColumnLook, look: LogLook) -> None:
    middle = (look.edges_s[:-1] + look.edges_s[1:]) / 2.0
    filled = ~np.isnan(column.lows)
    time, low, high = middle[filled], column.lows[filled], column.highs[filled]
    breaks = [(before + after) / 2.0 for before, after in look.gaps]
    at = np.searchsorted(time, breaks)
    time = np.insert(time, at, breaks)
    low, high = np.insert(low, at, np.nan), np.insert(high, at, np.nan)
    panel.fill_between(time, low, high, color=style.BLACK, lw=0.0, alpha=0.35)
    panel.plot(time, (low + high) / 2.0, color=style.BLACK, lw=0.8, gid=column.name)
    for flag, times in column.marks.items():
        panel.plot(
            times,
            np.full(times.size, 0.04),
            ls="",
            marker=_MARKERS[flag],
            color=style.VERMILION,
            transform=panel.get_xaxis_transform(),
            clip_on=False,
        )
    unit = f" [{style.typeset_unit(column.unit)}]" if column.unit else ""
    title = style.shortened(column.name, 40)
    title = title if title.endswith("]") else title + unit
    panel.set_title(
        title + (f"; {_flagged(column)}" if column.counts else ""),
        fontweight="normal",
        fontsize=9.0,
    )
    panel.margins(x=0.0)


def _flagged(column: ColumnLook) -> str:
    return ", ".join(f"{count} {flag.words}" for flag, count in column.counts.items())


def _left_out(look: LogLook) -> str:
    rest = len(look.columns) - MOST_PANELS
    return f"; {rest} more columns are not drawn" if rest > 0 else ""
