"""Static coefficients at breakaway: by pack, and against the dwell before it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.figures import style
from rigdata.figures.curves import draw_law, key_of_lines
from rigdata.figures.laws import along, tested_places
from rigdata.friction.conditions import DWELL, LEAST_TEMPERATURE_SPAN_K, Conditions
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.slopes import follows
from rigdata.reduction.points import FrictionPoints

_PLACES = 120


@style.styled()
def breakaway(points: FrictionPoints, marks: Mapping[Group, style.Mark]) -> Figure:
    """Draw static coefficients with their standard uncertainty, pack beside pack.

    Parameters
    ----------
    points : FrictionPoints
        Points of kind ``static``; hollow where not used.
    marks : mapping of Group to Mark
        How each group looks.
    """
    drawing = style.figure(3.6)
    axes = drawing.add_subplot()
    packs: list[str] = []
    for group, look in marks.items():
        of_group = (points.material == group.material) & (points.state == group.state)
        for pack in dict.fromkeys(points.pack[of_group].tolist()):
            own = points.select(of_group & (points.pack == pack))
            beside = len(packs) + np.linspace(-0.28, 0.28, len(own)) * (len(own) > 1)
            packs.append(pack)
            dots: dict[str, Any] = {"ls": "none", "marker": look.marker, "color": look.colour}
            for used in (True, False):
                shown = own.used == used
                face = look.colour if used else style.PAPER
                u = own.u_mu[shown]
                dots["gid"] = f"{group}, pack {pack}" + ", not used" * (not used)
                axes.errorbar(beside[shown], own.mu[shown], u, elinewidth=0.8, mfc=face, **dots)
    axes.set_xticks(range(len(packs)), [style.shortened(pack) for pack in packs])
    if sum(len(style.shortened(pack)) for pack in packs) > 90:
        axes.tick_params(axis="x", rotation=90)
    axes.set_xlim(-0.6, len(packs) - 0.4)
    axes.grid(visible=False, axis="x")
    axes.set_xlabel("Pack, each in the order tested")
    axes.set_ylabel("Static friction coefficient")
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


@style.styled()
def against_dwell(
    points: FrictionPoints, fits: Mapping[Group, FrictionFit], marks: Mapping[Group, style.Mark]
) -> Figure:
    """Draw static coefficients against the dwell before breakaway, a panel a group.

    Each panel has the law at every temperature tested, with its intervals at that
    nearest the reference; the shape of a point tells its temperature, and a thin
    line joins those of one run.  Points are moved along the law to the reference
    pressure and to the temperature of their curve.

    Parameters
    ----------
    points : FrictionPoints
        Points of kind ``static``; those not used or without a dwell are not drawn.
    fits : mapping of Group to FrictionFit
        The static laws.
    marks : mapping of Group to Mark
        How each group looks.
    """
    own = points.select(points.used & (points.dwell_s > 0.0))
    levels, level = temperature_levels(own)
    shapes = [style.PACK_MARKERS[i % len(style.PACK_MARKERS)] for i in range(levels.size)]
    shown = {group: fit for group, fit in fits.items() if np.any(_of(own, group))}
    across = 2 if len(shown) in (2, 4) else min(len(shown), 3)
    rows = -(-len(shown) // across)
    drawing = style.figure(0.7 + 2.9 * rows)
    panels = drawing.subplots(rows, across, sharex=True, sharey=True, squeeze=False)
    for panel, (group, fit) in zip(panels.ravel(), shown.items(), strict=False):
        mine = _of(own, group)
        _draw_group(panel, own.select(mine), fit, marks[group], levels, level[mine], shapes)
        panel.set_title(style.shortened(str(group), 34))
    for panel in panels.ravel()[len(shown) :]:
        panel.remove()
    for panel in panels.ravel()[max(len(shown) - across, 0) : len(shown)]:
        panel.set_xlabel(style.axis_label(DWELL))
        panel.tick_params(labelbottom=True)
    for panel in panels[:, 0]:
        panel.set_ylabel("Static friction coefficient")
    style.log_speed_axis(panels[0, 0])
    key: list[Line2D | Patch] = [
        Line2D([], [], color=style.INK, marker=shape, ls="", label=f"{value:.0f} \N{DEGREE SIGN}C")
        for shape, value in zip(shapes, levels, strict=True)
    ]
    key.append(Line2D([], [], color=style.MUTED, lw=0.7, label="one run"))
    drawing.legend(
        handles=[*key, *key_of_lines(own)], loc="outside lower center", ncols=min(len(key) + 3, 4)
    )
    return drawing


def temperature_levels(points: FrictionPoints) -> tuple[FloatArray, IntArray]:
    """Return the temperatures that points were tested at, and which of them is each point's.

    Temperatures less than `LEAST_TEMPERATURE_SPAN_K` from their neighbour are one
    level, at their mean.

    Returns
    -------
    (k,) array, (n,) array
    """
    order = np.argsort(points.temperature_c, kind="stable")
    apart = np.diff(points.temperature_c[order]) >= LEAST_TEMPERATURE_SPAN_K
    level = np.empty(len(points), dtype=np.int64)
    level[order] = np.cumsum(np.concatenate([[False], apart]))
    count = int(level.max(initial=-1)) + 1
    return np.array([points.temperature_c[level == i].mean() for i in range(count)]), level


def _draw_group(
    panel: Axes,
    own: FrictionPoints,
    fit: FrictionFit,
    look: style.Mark,
    levels: FloatArray,
    level: IntArray,
    shapes: list[str],
) -> None:
    tested = np.unique(level)
    nearest = tested[np.argmin(np.abs(levels[tested] - fit.reference.temperature_c))]
    places = tested_places(own, DWELL, _PLACES)
    for i in tested if follows(fit, "temperature_c") else [nearest]:
        reference = replace(fit.reference, temperature_c=float(levels[i]))
        curve = along(fit, DWELL, places, reference)
        if i == nearest:
            draw_law(panel, curve, look, f"{fit.group} at {levels[i]:.0f} degC")
        else:
            name = f"{fit.group} at {levels[i]:.0f} degC law"
            panel.plot(curve.x, curve.mu, color=look.colour, ls=look.line, gid=name)
        if tested.size > 1 and follows(fit, "temperature_c"):
            panel.annotate(
                f"{levels[i]:.0f} \N{DEGREE SIGN}C",
                (curve.x[-1], curve.mu[-1]),
                (4, 0),
                textcoords="offset points",
                color=look.colour,
                va="center",
            )
    here = Conditions(0.0, own.temperature_c, own.pressure_mpa, own.dwell_s)
    there = replace(here, temperature_c=levels[level])
    there = replace(there, pressure_mpa=np.full(len(own), fit.reference.pressure_mpa))
    mu = own.mu * fit.predict(there).mu / fit.predict(here).mu
    for run in dict.fromkeys(own.run.tolist()):
        for i in tested:
            mine = np.flatnonzero((own.run == run) & (level == i))
            mine = mine[np.argsort(own.dwell_s[mine], kind="stable")]
            panel.plot(
                own.dwell_s[mine],
                mu[mine],
                color=look.colour,
                lw=0.6,
                alpha=0.6,
                gid=f"{fit.group}, run {run}",
            )
    for i in tested:
        dots: dict[str, Any] = {"ls": "none", "marker": shapes[i], "color": look.colour}
        here_too = level == i
        x, y, u = (values[here_too] for values in (own.dwell_s, mu, own.u_mu))
        panel.errorbar(x, y, u, elinewidth=0.7, gid=f"{fit.group} at {levels[i]:.0f} degC", **dots)


def _of(points: FrictionPoints, group: Group) -> BoolArray:
    mine: BoolArray = (points.material == group.material) & (points.state == group.state)
    return mine
