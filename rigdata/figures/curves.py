"""The friction coefficient along one coordinate: slip speed, temperature or pressure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from rigdata.arrays import FloatArray
from rigdata.figures import style
from rigdata.figures.laws import Curve, along, moved_to_reference, points_of, tested_places
from rigdata.friction.conditions import ReferenceCondition
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints


@style.styled()
def speed_curve(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    reference: ReferenceCondition,
    marks: Mapping[Group, style.Mark],
) -> Figure:
    """Draw mu against slip speed: the law of each group, its intervals and its points.

    Parameters
    ----------
    points : FrictionPoints
        Kinetic points; those not used are not drawn.
    fits : mapping of Group to FrictionFit
        The laws.
    reference : Reference
        Temperature and pressure of the curves.
    marks : mapping of Group to Mark
        How each group looks.
    """
    return _curves(points, fits, reference, marks, "slip_speed_m_s", height_in=4.7)


@style.styled()
def condition_curve(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    reference: ReferenceCondition,
    marks: Mapping[Group, style.Mark],
    coordinate: str,
) -> Figure:
    """Draw mu against ``temperature_c`` or ``pressure_mpa``; see `speed_curve`."""
    return _curves(points, fits, reference, marks, coordinate, height_in=4.0)


def _curves(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    reference: ReferenceCondition,
    marks: Mapping[Group, style.Mark],
    coordinate: str,
    *,
    height_in: float,
) -> Figure:
    rows = _rows(fits)
    each_in = height_in if len(rows) == 1 else 0.72 * height_in
    drawing = style.figure(each_in * len(rows))
    panels = drawing.subplots(len(rows), 1, sharex=True, sharey=True, squeeze=False).ravel()
    seen: list[float] = []
    key: list[Line2D | Patch] = []
    ends: list[list[tuple[float, str, str]]] = []
    for panel, (title, groups) in zip(panels, rows.items(), strict=True):
        ends.append([])
        for group in groups:
            fit, look = fits[group], marks[group]
            own = points.select(points_of(points, group))
            curve = along(fit, coordinate, tested_places(own, coordinate, 160), reference)
            draw_law(panel, curve, look, str(group))
            moved = moved_to_reference(own, fit, coordinate, reference)
            key += _draw_points(panel, own, getattr(own, coordinate), moved, look)
            ends[-1].append((float(curve.mu[-1]), str(group), look.colour))
            seen += [*moved, *_shown_limits(curve)]
        panel.set_title(title)
        panel.margins(x=0.0)
        panel.set_ylabel(style.axis_label("mu"))
    low, high = np.nanmin(seen), np.nanmax(seen)
    low, high = low - 0.06 * (high - low), high + 0.06 * (high - low)
    panels[0].set_ylim(low, high)
    panels[-1].set_xlabel(style.axis_label(coordinate))
    if coordinate == "slip_speed_m_s":
        style.log_speed_axis(panels[-1])
    for panel, names in zip(panels, ends, strict=True):
        inside = [(min(max(y, low), high), text, colour) for y, text, colour in names]
        style.end_labels(panel, inside, height_in=each_in)
    key += key_of_lines(points)
    drawing.legend(handles=key, loc="outside lower center", ncols=min(len(key), 5))
    return drawing


def _rows(fits: Iterable[Group]) -> dict[str, list[Group]]:
    """Return the groups of each panel: one for all, or one a state where there are many."""
    groups = list(fits)
    states = list(dict.fromkeys(group.state for group in groups))
    if len(groups) < 3 or len(states) == 1:
        return {"": groups}
    return {state.capitalize(): [g for g in groups if g.state == state] for state in states}


def _shown_limits(curve: Curve) -> list[float]:
    """Return the interval limits that the axis must hold, wild ones left out."""
    middle, inside = curve.mu, curve.inside
    shown = [curve.mean_low[inside], curve.mean_high[inside]]
    for limit in (curve.next_pack_low, curve.next_pack_high):
        # Two packs can give a limit beyond all reason, which would flatten the rest.
        sensible = inside & (np.abs(limit - middle) < 0.25 * middle)
        shown.append(limit[sensible])
    limits: list[float] = np.concatenate(shown).tolist()
    return limits


def draw_law(axes: Axes, curve: Curve, look: style.Mark, name: str) -> None:
    """The line, both intervals inside the envelope, and dashed grey outside it."""
    within = curve.inside
    axes.fill_between(
        curve.x,
        curve.mean_low,
        curve.mean_high,
        where=within,
        color=look.colour,
        alpha=0.18,
        lw=0,
        gid=f"{name} law",
    )
    limits = {"low": curve.next_pack_low, "high": curve.next_pack_high}
    for end, limit in limits.items():
        axes.plot(
            curve.x,
            np.where(within, limit, np.nan),
            color=look.colour,
            lw=1.0,
            ls=(0, (1.0, 1.6)),
            gid=f"{name} law | one more pack {end}",
        )
    shown = np.where(within, curve.mu, np.nan)
    axes.plot(curve.x, shown, color=look.colour, ls=look.line, gid=f"{name} law")
    # One sample of overlap, so that the grey line meets the coloured one.
    outside = ~within
    outside[:-1] |= ~within[1:]
    outside[1:] |= ~within[:-1]
    shown = np.where(outside, curve.mu, np.nan)
    axes.plot(
        curve.x,
        shown,
        color=style.MUTED,
        lw=1.1,
        ls=(0, (3.0, 2.5)),
        zorder=1.9,
        gid=f"{name} law, outside the envelope",
    )


def _draw_points(
    axes: Axes, own: FrictionPoints, x: FloatArray, mu: FloatArray, look: style.Mark
) -> list[Line2D | Patch]:
    """Points with their standard uncertainty: shape by pack, hollow on the way down."""
    key: list[Line2D | Patch] = []
    half = own.u_mu * mu / own.mu
    for pack, shape in style.pack_markers(own.pack.tolist()).items():
        for down in (False, True):
            chosen = (own.pack == pack) & ((own.direction == "down") == down)
            name = f"{own.material[0]} ({own.state[0]}) {pack}" + " downwards" * down
            at, middle, u = x[chosen], mu[chosen], half[chosen]
            gap = np.full_like(at, np.nan)
            bars = Line2D(
                np.column_stack([at, at, gap]).ravel(),
                np.column_stack([middle - u, middle + u, gap]).ravel(),
                color=look.colour,
                lw=0.8,
                alpha=0.45,
                ls="-",
                zorder=1.95,
                gid=name,
            )
            dots = _dots(shape, look.colour, hollow=down)
            dots.set(xdata=at, ydata=middle, alpha=0.9, gid=name)
            axes.add_line(bars)
            axes.add_line(dots)
        dots = _dots(shape, look.colour)
        dots.set_label(style.shortened(f"pack {pack}"))
        key.append(dots)
    return key


def _dots(shape: str, colour: str, *, hollow: bool = False) -> Line2D:
    face = style.PAPER if hollow else colour
    return Line2D([], [], ls="none", marker=shape, color=colour, mfc=face, mew=0.9)


def key_of_lines(points: FrictionPoints) -> list[Line2D | Patch]:
    """What the line kinds and fills mean, for all groups alike."""
    key: list[Line2D | Patch] = []
    if np.any(points.direction == "down"):
        hollow = _dots("o", style.INK, hollow=True)
        hollow.set_label("hollow: on the way down")
        key.append(hollow)
    key.append(Patch(color=style.MUTED, alpha=0.3, lw=0, label="mean, 95 % interval"))
    dots = (0, (1.0, 1.6))
    key.append(Line2D([], [], color=style.MUTED, lw=1.0, ls=dots, label="one more pack, 95 %"))
    dashes = (0, (3.0, 2.5))
    key.append(Line2D([], [], color=style.MUTED, lw=1.1, ls=dashes, label="outside the envelope"))
    return key
