"""Which cause of uncertainty matters most: ranked shares of variance."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.figures.style import Named
from rigdata.friction.causes import Budget

_OTHERS = "all others together"
_LEAST_SHARE = 0.01


@style.styled()
def budget_bars(
    shares: Mapping[Named, Mapping[str, float]],
    marks: Mapping[Named, style.Mark],
    *,
    last: str = "",
) -> Figure:
    """Draw the ranked shares of variance of some numbers, such as mu of each group.

    Parameters
    ----------
    shares : mapping of name to mapping of cause to share
        Shares of variance from 0 to 1; each number is drawn in its own panel,
        causes from the largest to the smallest of any.
    marks : mapping of name to Mark
        How each looks.
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
    for panel, (name, causes) in zip(panels, shares.items(), strict=False):
        places = np.arange(len(ranked))
        percent = np.array([100.0 * causes.get(cause, 0.0) for cause in ranked])
        panel.barh(places, percent, height=0.66, color=marks[name].colour, gid=str(name))
        for place, value in zip(places, percent, strict=True):
            panel.text(value + 2.0, place, percent_text(value), va="center", fontsize=8.5)
        panel.set_yticks(places, ranked)
        panel.set_ylim(len(ranked) - 0.4, -0.6)
        panel.set_xlim(0.0, 120.0)
        panel.set_xticks([0, 50, 100])
        panel.grid(visible=False, axis="y")
        panel.tick_params(axis="y", length=0)
        panel.set_xlabel("Share of variance [%]")
        panel.set_title(style.shortened(str(name)) if len(shares) > 1 else str(name))
    for panel in panels[len(shares) :]:
        panel.set_visible(False)
    return drawing


@style.styled()
def cause_bars(budget: Budget) -> Figure:
    """Draw the ranked shares of variance of one number; causes under 1 % are one bar."""
    shown = [share for share in budget.by_kind if share.share >= _LEAST_SHARE]
    shares = {share.cause: share.share for share in shown}
    if len(shown) < len(budget.by_kind):
        shares[_OTHERS] = sum(share.share for share in budget.by_kind[len(shown) :])
    title = budget.quantity
    return budget_bars({title: shares}, style.marks_of([title]), last=_OTHERS)


def percent_text(percent: float) -> str:
    """Return a share in percent, with small ones not shown as nought."""
    if percent == 0.0:
        return "none"
    if percent < 1.0:
        return "< 1 %"
    return f"{percent:.0f} %"
