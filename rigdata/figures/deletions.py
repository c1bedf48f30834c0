"""How far mu moves when a pack or a run is left out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.friction.case_deletion import PACK, Deletion
from rigdata.friction.results import FrictionFit, Group


@style.styled()
def deletions(fits: Mapping[Group, FrictionFit], marks: Mapping[Group, style.Mark]) -> Figure:
    """Draw the change of mu at the reference without each pack, and without each of its runs.

    Parameters
    ----------
    fits : mapping of Group to FrictionFit
        Those with something left out.
    marks : mapping of Group to Mark
        How each group looks.

    Notes
    -----
    One row a pack.  The filled mark is the pack left out, the bar what chance gives one
    pack among as many (one standard deviation), the small rings its runs; behind stands
    u(mu) of the group to both sides of 0.
    """
    packs = {
        group: list(dict.fromkeys(one.pack for one in fit.deletions)) for group, fit in fits.items()
    }
    count = sum(map(len, packs.values()))
    drawing = style.figure(1.3 + 0.21 * max(count, 3))
    axes = drawing.add_subplot()
    axes.axvline(0.0, color=style.INK, lw=0.8)
    row, names = 0, list[str]()
    for group, fit in fits.items():
        u = 100.0 * fit.u_reference
        ends = row - 0.45, row + len(packs[group]) - 0.55
        name = f"{group}, standard uncertainty"
        axes.fill_betweenx(ends, -u, u, color=style.GRID, lw=0.0, zorder=0, gid=name)
        for pack in packs[group]:
            own = [one for one in fit.deletions if one.pack == pack and one.change is not None]
            _row(axes, row, own, u, marks[group])
            names.append(style.shortened(pack))
            row += 1
        look = marks[group]
        axes.plot([], [], color=look.colour, marker=look.marker, ls="", label=str(group))
    axes.plot([], [], color=style.INK, marker="o", mfc="none", ms=3.5, ls="", label="one run")
    axes.set_yticks(range(count), names)
    axes.set_ylim(count - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.set_xlabel("Change of mu at the reference without the pack or run [%]")
    drawing.legend(loc="outside lower center", ncols=3)
    return drawing


def _row(axes: Axes, row: int, own: list[Deletion], u: float, look: style.Mark) -> None:
    runs = [100.0 * (one.change or 0.0) for one in own if one.kind != PACK]
    rings: dict[str, Any] = {"ls": "", "marker": "o", "mfc": "none", "ms": 3.5}
    axes.plot(runs, [row] * len(runs), mec=look.colour, gid="without one run", **rings)
    for one in own:
        if one.kind == PACK:
            chance = u * one.by_chance
            axes.hlines(row, -chance, chance, color=look.colour, lw=1.0, alpha=0.7, gid="chance")
            change = 100.0 * (one.change or 0.0)
            dot: dict[str, Any] = {
                "ls": "",
                "marker": look.marker,
                "ms": 6.0,
                "gid": "without the pack",
            }
            axes.plot(change, row, color=look.colour, **dot)
