"""Static coefficients at breakaway, by pack and against the dwell before it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from rigdata.figures import style
from rigdata.friction.results import Group
from rigdata.reduction.points import FrictionPoints


@style.styled()
def breakaway(points: FrictionPoints, marks: Mapping[Group, style.Mark]) -> Figure:
    """Draw static coefficients with their standard uncertainty.

    Left, by pack, side by side in the order tested; right, against the time
    under load at standstill, because oil squeezed out by a long dwell raises
    the static coefficient.

    Parameters
    ----------
    points : FrictionPoints
        Points of kind ``static``; hollow where not used.
    marks : mapping of Group to Mark
        How each group looks.
    """
    drawing = style.figure(3.6)
    by_pack, by_dwell = drawing.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    packs = list(dict.fromkeys(points.pack.tolist()))
    named: dict[Group, style.Mark] = {}
    for place, pack in enumerate(packs):
        own = points.select(points.pack == pack)
        group = Group(str(own.material[0]), str(own.state[0]))
        look = named.setdefault(group, marks[group])
        beside = place + np.linspace(-0.28, 0.28, len(own)) * (len(own) > 1)
        for panel, x in ((by_pack, beside), (by_dwell, own.dwell_s)):
            for used in (True, False):
                chosen = own.used == used
                panel.errorbar(
                    x[chosen],
                    own.mu[chosen],
                    own.u_mu[chosen],
                    color=look.colour,
                    marker=look.marker,
                    mfc=look.colour if used else style.PAPER,
                    ls="none",
                    elinewidth=0.8,
                )
    by_pack.set_xticks(range(len(packs)), [style.shortened(pack) for pack in packs])
    if sum(len(style.shortened(pack)) for pack in packs) > 55:
        by_pack.tick_params(axis="x", rotation=90)
    by_pack.set_xlim(-0.6, len(packs) - 0.4)
    by_pack.grid(visible=False, axis="x")
    by_pack.set_xlabel("Pack, each in the order tested")
    by_pack.set_ylabel("Static friction coefficient")
    by_dwell.set_xlabel("Dwell before breakaway [s]")
    key = [
        Line2D([], [], color=look.colour, marker=look.marker, ls="", label=str(group))
        for group, look in named.items()
    ]
    if not np.all(points.used):
        hollow = Line2D([], [], color=style.INK, marker="o", mfc=style.PAPER, ls="")
        hollow.set_label("hollow: not used")
        key.append(hollow)
    drawing.legend(handles=key, loc="outside lower center", ncols=4)
    return drawing
