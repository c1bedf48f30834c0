"""Which cause of uncertainty matters most: ranked shares of variance."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from rigdata.figures import style

_COLUMNS = 2


@style.styled()
def budget_bars(shares: Mapping[str, Mapping[str, float]]) -> Figure:
    """Draw the ranked shares of variance of each group at the reference condition.

    Parameters
    ----------
    shares : mapping of group name to mapping of cause to share
        Shares of variance from 0 to 1; each group is drawn in its own panel,
        its causes from the largest to the smallest.
    """
    n_rows = -(-len(shares) // _COLUMNS)
    longest = max((len(causes) for causes in shares.values()), default=1)
    height = n_rows * (0.24 * longest + 0.75)
    drawing = style.figure(height)
    columns = min(_COLUMNS, len(shares))
    panels = drawing.subplots(n_rows, columns, squeeze=False).ravel()
    for i, (panel, (group, causes)) in enumerate(zip(panels, shares.items(), strict=False)):
        ranked = sorted(causes.items(), key=lambda item: (-item[1], item[0]))
        places = np.arange(len(ranked))
        percent = np.array([100.0 * share for _, share in ranked])
        panel.barh(places, percent, height=0.66, color=style.mark(i).colour, alpha=0.85)
        for place, value in zip(places, percent, strict=True):
            panel.text(value + 1.5, place, percent_text(value), va="center", fontsize=8.5)
        panel.set_yticks(places, [cause for cause, _ in ranked])
        panel.set_ylim(longest - 0.4, -0.6)
        panel.set_xlim(0.0, 118.0)
        panel.set_xticks([0, 25, 50, 75, 100])
        panel.grid(visible=False, axis="y")
        panel.tick_params(axis="y", length=0)
        panel.set_xlabel("Share of variance [%]")
        panel.set_title(group)
    for panel in panels[len(shares) :]:
        panel.set_visible(False)
    return drawing


def percent_text(percent: float) -> str:
    """Return a share in percent, with small ones not shown as nought."""
    if 0.0 < percent < 1.0:
        return "<1 %"
    return f"{percent:.0f} %"
