"""Which cause of uncertainty matters most: ranked shares of variance."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.friction.results import Group


@style.styled()
def budget_bars(
    shares: Mapping[Group, Mapping[str, float]],
    marks: Mapping[Group, style.Mark],
    *,
    last: str = "",
) -> Figure:
    """Draw the ranked shares of variance of each group at the reference condition.

    Parameters
    ----------
    shares : mapping of Group to mapping of cause to share
        Shares of variance from 0 to 1; each group is drawn in its own panel,
        causes from the largest to the smallest of any group.
    marks : mapping of Group to Mark
        How each group looks.
    last : str
        A cause that stands for the rest and is drawn last, whatever its share.
    """
    largest: dict[str, float] = {}
    for causes in shares.values():
        for cause, share in causes.items():
            largest[cause] = max(share, largest.get(cause, 0.0))
    ranked = sorted(largest, key=lambda cause: (cause == last, -largest[cause], cause))
    # Four in two rows of two, because names need room above their panel.
    columns = max(1, min(2 if len(shares) == 4 else 3, len(shares)))
    n_rows = max(1, -(-len(shares) // columns))
    drawing = style.figure(n_rows * (0.24 * max(len(ranked), 2) + 0.75))
    panels = drawing.subplots(n_rows, columns, squeeze=False, sharey=True).ravel()
    for panel, (group, causes) in zip(panels, shares.items(), strict=False):
        places = np.arange(len(ranked))
        percent = np.array([100.0 * causes.get(cause, 0.0) for cause in ranked])
        panel.barh(places, percent, height=0.66, color=marks[group].colour)
        for place, value in zip(places, percent, strict=True):
            panel.text(value + 2.0, place, percent_text(value), va="center", fontsize=8.5)
        panel.set_yticks(places, ranked)
        panel.set_ylim(len(ranked) - 0.4, -0.6)
        panel.set_xlim(0.0, 120.0)
        panel.set_xticks([0, 50, 100])
        panel.grid(visible=False, axis="y")
        panel.tick_params(axis="y", length=0)
        panel.set_xlabel("Share of variance [%]")
        panel.set_title(style.shortened(str(group)))
    for panel in panels[len(shares) :]:
        panel.set_visible(False)
    return drawing


def percent_text(percent: float) -> str:
    """Return a share in percent, with small ones not shown as nought."""
    if percent == 0.0:
        return "none"
    if percent < 1.0:
        return "< 1 %"
    return f"{percent:.0f} %"
