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
    packs: list[str] = []
    for group, look in marks.items():
        of_group = (points.material == group.material) & (points.state == group.state)
        for pack in dict.fromkeys(points.pack[of_group].tolist()):
            own = points.select(of_group & (points.pack == pack))
            beside = len(packs) + np.linspace(-0.28, 0.28, len(own)) * (len(own) > 1)
            packs.append(pack)
            dots = {"ls": "none", "marker": look.marker, "color": look.colour}
            for used in (True, False):
                chosen = own.used == used
                face = look.colour if used else style.PAPER
                by_pack.errorbar(
                    beside[chosen],
                    own.mu[chosen],
                    own.u_mu[chosen],
                    elinewidth=0.8,
                    mfc=face,
                    **dots,
                )
                by_dwell.plot(own.dwell_s[chosen], own.mu[chosen], mfc=face, alpha=0.85, **dots)
    by_pack.set_xticks(range(len(packs)), [style.shortened(pack) for pack in packs])
    if sum(len(style.shortened(pack)) for pack in packs) > 55:
        by_pack.tick_params(axis="x", rotation=90)
    by_pack.set_xlim(-0.6, len(packs) - 0.4)
    by_pack.grid(visible=False, axis="x")
    by_pack.set_xlabel("Pack, each in the order tested")
    by_pack.set_ylabel("Static friction coefficient")
    by_dwell.set_xlabel("Dwell before breakaway [s]")
    key = [
        Line2D(
            [], [], color=look.colour, marker=look.marker, ls="", label=style.shortened(str(group))
        )
        for group, look in marks.items()
        if np.any((points.material == group.material) & (points.state == group.state))
    ]
    if not np.all(points.used):
        hollow = Line2D([], [], color=style.INK, marker="o", mfc=style.PAPER, ls="")
        hollow.set_label("hollow: not used")
        key.append(hollow)
    drawing.legend(handles=key, loc="outside lower center", ncols=4)
    return drawing
