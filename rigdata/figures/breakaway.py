"""Static coefficients at breakaway, by pack and against the dwell before it."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from rigdata.figures import style
from rigdata.reduction.points import FrictionPoints


@style.styled()
def breakaway(points: FrictionPoints, materials: tuple[str, ...]) -> Figure:
    """Draw static coefficients with their standard uncertainty.

    Left, by pack, side by side in the order tested; right, against the time
    under load at standstill, because oil squeezed out by a long dwell raises
    the static coefficient.

    Parameters
    ----------
    points : FrictionPoints
        Points of kind ``static``; hollow where not used.
    materials : tuple of str
        Material names in the order of their marks.
    """
    drawing = style.figure(3.6)
    by_pack, by_dwell = drawing.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    packs = list(dict.fromkeys(str(pack) for pack in points.pack))
    shapes = style.pack_markers(packs)
    for place, pack in enumerate(packs):
        own = points.select(points.pack == pack)
        look = style.mark(materials.index(str(own.material[0])))
        beside = place + np.linspace(-0.28, 0.28, len(own)) * (len(own) > 1)
        for panel, x in ((by_pack, beside), (by_dwell, own.dwell_s)):
            for used in (True, False):
                chosen = own.used == used
                panel.errorbar(
                    x[chosen],
                    own.mu[chosen],
                    own.u_mu[chosen],
                    color=look.colour,
                    marker=shapes[pack],
                    mfc=look.colour if used else style.PAPER,
                    ls="none",
                    elinewidth=0.8,
                )
    by_pack.set_xticks(range(len(packs)), packs)
    by_pack.set_xlim(-0.6, len(packs) - 0.4)
    by_pack.grid(visible=False, axis="x")
    by_pack.set_xlabel("Pack, in the order tested")
    by_pack.set_ylabel("Static friction coefficient")
    by_dwell.set_xlabel("Dwell before breakaway [s]")
    named = [name for name in materials if np.any(points.material == name)]
    key = [
        Line2D(
            [], [], color=style.mark(materials.index(name)).colour, marker="o", ls="", label=name
        )
        for name in named
    ]
    if not np.all(points.used):
        key.append(
            Line2D([], [], color=style.INK, marker="o", mfc=style.PAPER, ls="", label="not used")
        )
    drawing.legend(handles=key, loc="outside lower center", ncols=4)
    return drawing
