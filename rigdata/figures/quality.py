"""How far packs lie from the law of their material, and pulls of the sources."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.friction.results import FrictionFit, Group, fitted_points
from rigdata.reduction.points import FrictionPoints

_MOST_PULLS = 24


@style.styled()
def pack_offsets(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    marks: Mapping[Group, style.Mark],
) -> Figure:
    """Draw how far each pack lies from the law of its material.

    The dot is the mean of the pack's points and the bar their standard
    deviation.
    """
    rows = [
        (str(pack), group, 100.0 * fit.residual[own.pack == pack])
        for group, fit in fits.items()
        for own in [fitted_points(points, fit)]
        for pack in dict.fromkeys(own.pack.tolist())
    ]
    drawing = style.figure(0.9 + 0.2 * max(len(rows), 3))
    axes = drawing.add_subplot()
    axes.axvline(0.0, color=style.INK, lw=0.8)
    for group, look in marks.items():
        mine = [(i, percent) for i, (_, name, percent) in enumerate(rows) if name == group]
        for i, percent in mine:
            axes.errorbar(
                percent.mean(),
                i,
                xerr=percent.std(),
                color=look.colour,
                marker=look.marker,
                ms=5.5,
                elinewidth=1.4,
                capsize=2.5,
                gid=str(group),
            )
        if mine:
            axes.plot([], [], color=look.colour, marker=look.marker, ls="", label=str(group))
    axes.set_yticks(range(len(rows)), [style.shortened(pack) for pack, _, _ in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.set_xlabel("Pack against the law of its material [%]")
    drawing.legend(loc="outside lower center", ncols=4)
    return drawing


@style.styled()
def pulls(values: Sequence[tuple[Group, str, float]], marks: Mapping[Group, style.Mark]) -> Figure:
    """Draw by how many standard deviations the fit moved each shared source.

    Parameters
    ----------
    values : sequence of (group, source, pull)
        The largest are drawn, in order; a pull beyond 2 asks for a look at
        that calibration record, zero or radius.
    marks : mapping of Group to Mark
        How each group looks.
    """
    largest = sorted(values, key=lambda item: -abs(item[2]))[:_MOST_PULLS]
    rows = sorted(largest, key=lambda item: item[2])
    drawing = style.figure(0.9 + 0.19 * max(len(rows), 3))
    axes = drawing.add_subplot()
    for side in (-2.0, 2.0):
        axes.axvline(side, color=style.MUTED, lw=1.0, ls=(0, (4.0, 2.0)))
    axes.axvline(0.0, color=style.INK, lw=0.8)
    for group, look in marks.items():
        mine = [(pull, row) for row, (name, _, pull) in enumerate(rows) if name == group]
        if mine:
            x, y = zip(*mine, strict=True)
            axes.hlines(y, 0.0, x, color=look.colour, lw=0.8, alpha=0.6, gid=str(group))
            axes.plot(
                x,
                y,
                ls="none",
                marker=look.marker,
                color=look.colour,
                label=style.shortened(str(group)),
            )
    reach = max([2.6] + [abs(pull) * 1.1 for _, _, pull in rows])
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-0.7, max(len(rows), 3) - 0.3)
    axes.set_yticks(range(len(rows)), [style.shortened(source, 36) for _, source, _ in rows])
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.set_xlabel("Pull [standard deviations of the source]")
    if len({group for group, _, _ in rows}) > 1:
        drawing.legend(loc="outside lower center", ncols=4)
    return drawing
