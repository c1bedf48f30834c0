"""The friction coefficient along one coordinate: slip speed, temperature or pressure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.figures import style
from rigdata.friction.conditions import AXES, Conditions, ReferenceCondition
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints

_BEYOND = 0.06  # how far past the tested range a law is drawn, as a part of that range


@dataclass(frozen=True, eq=False)
class Curve:
    """A fitted law along one coordinate, with the other two at the reference.

    Attributes
    ----------
    coordinate : str
        One of `rigdata.friction.conditions.AXES`.
    x : (n,) array
        Positions along it. [m/s, degC or MPa]
    mu, mean_low, mean_high, next_pack_low, next_pack_high : (n,) array
        The law and its two 95 % intervals; the last two are NaN where only one
        pack was tested.
    inside : (n,) bool
        Whether the condition lies in the tested envelope.
    """

    coordinate: str
    x: FloatArray
    mu: FloatArray
    mean_low: FloatArray
    mean_high: FloatArray
    next_pack_low: FloatArray
    next_pack_high: FloatArray
    inside: BoolArray

    def __post_init__(self) -> None:
        for name in ("x", "mu", "mean_low", "mean_high", "next_pack_low", "next_pack_high"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "inside", frozen(self.inside, np.bool_))


def along(fit: FrictionFit, coordinate: str, x: FloatArray, reference: ReferenceCondition) -> Curve:
    """Return the law of `fit` at the places `x` of one coordinate."""
    places = {name: np.full(x.shape, getattr(reference, name)) for name in AXES}
    places[coordinate] = x
    prediction = fit.predict(Conditions(**places))
    return Curve(
        coordinate=coordinate,
        x=x,
        mu=prediction.mu,
        mean_low=prediction.mean_low,
        mean_high=prediction.mean_high,
        next_pack_low=prediction.next_pack_low,
        next_pack_high=prediction.next_pack_high,
        inside=prediction.inside,
    )


def tested_places(points: FrictionPoints, coordinate: str, n: int) -> FloatArray:
    """Return `n` places over the tested range of one coordinate and a little beyond."""
    values = getattr(points, coordinate)
    if coordinate == "slip_speed_m_s":
        low, high = np.log(values.min()), np.log(values.max())
        margin = max((high - low) * _BEYOND, 0.02)
        logs: FloatArray = np.exp(np.linspace(low - margin, high + margin, n))
        return logs
    low, high = values.min(), values.max()
    margin = max((high - low) * _BEYOND, 0.02 * abs(high))
    return np.linspace(max(low - margin, 0.0), high + margin, n)


def moved_to_reference(
    points: FrictionPoints, fit: FrictionFit, coordinate: str, reference: ReferenceCondition
) -> FloatArray:
    """Return mu of each point moved along the law to the reference condition.

    Only `coordinate` keeps the point's own value; so points from any
    temperature and pressure can stand beside one curve.
    """
    own = {name: getattr(points, name) for name in AXES}
    moved = {
        name: own[name] if name == coordinate else np.full(len(points), getattr(reference, name))
        for name in AXES
    }
    there = fit.predict(Conditions(**moved)).mu
    here = fit.predict(Conditions(**own)).mu
    result: FloatArray = points.mu * there / here
    return result


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
    drawing = style.figure(height_in)
    axes = drawing.add_subplot()
    ends: list[tuple[float, str, str]] = []
    seen: list[float] = []
    key: list[Line2D | Patch] = []
    for group, fit in fits.items():
        own = points.select(points_of(points, group))
        look = marks[group]
        curve = along(fit, coordinate, tested_places(own, coordinate, 160), reference)
        _draw_law(axes, curve, look)
        moved = moved_to_reference(own, fit, coordinate, reference)
        key += _draw_points(axes, own, getattr(own, coordinate), moved, look)
        ends.append((float(curve.mu[-1]), str(group), look.colour))
        seen += [*moved, *_shown_limits(curve)]
    if seen:
        low, high = np.nanmin(seen), np.nanmax(seen)
        axes.set_ylim(low - 0.06 * (high - low), high + 0.06 * (high - low))
    axes.margins(x=0.0)
    axes.set_xlabel(style.axis_label(coordinate))
    axes.set_ylabel(style.axis_label("mu"))
    if coordinate == "slip_speed_m_s":
        style.log_speed_axis(axes)
    low, high = axes.get_ylim()
    ends = [(min(max(y, low), high), text, colour) for y, text, colour in ends]
    style.end_labels(axes, ends, height_in=height_in)
    key += _key_of_lines(points)
    drawing.legend(handles=key, loc="outside lower center", ncols=min(len(key), 5))
    return drawing


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


def points_of(points: FrictionPoints, group: Group) -> BoolArray:
    """Return which points are used, kinetic, and of `group`."""
    mine = (points.material == group.material) & (points.state == group.state)
    chosen: BoolArray = mine & points.used & (points.kind == "kinetic")
    return chosen


def _draw_law(axes: Axes, curve: Curve, look: style.Mark) -> None:
    """The line, both intervals inside the envelope, and dashed grey outside it."""
    within = curve.inside
    axes.fill_between(
        curve.x, curve.mean_low, curve.mean_high, where=within, color=look.colour, alpha=0.18, lw=0
    )
    for limit in (curve.next_pack_low, curve.next_pack_high):
        shown = np.where(within, limit, np.nan)
        axes.plot(curve.x, shown, color=look.colour, lw=1.0, ls=(0, (1.0, 1.6)))
    axes.plot(curve.x, np.where(within, curve.mu, np.nan), color=look.colour, ls=look.line)
    # One sample of overlap, so that the grey line meets the coloured one.
    outside = ~within
    outside[:-1] |= ~within[1:]
    outside[1:] |= ~within[:-1]
    shown = np.where(outside, curve.mu, np.nan)
    axes.plot(curve.x, shown, color=style.MUTED, lw=1.1, ls=(0, (3.0, 2.5)), zorder=1.9)


def _draw_points(
    axes: Axes, own: FrictionPoints, x: FloatArray, mu: FloatArray, look: style.Mark
) -> list[Line2D | Patch]:
    """Points with their standard uncertainty: shape by pack, hollow on the way down."""
    key: list[Line2D | Patch] = []
    half = own.u_mu * mu / own.mu
    bars_x = np.column_stack([x, x, np.full_like(x, np.nan)]).ravel()
    bars_y = np.column_stack([mu - half, mu + half, np.full_like(x, np.nan)]).ravel()
    axes.plot(bars_x, bars_y, color=look.colour, lw=0.8, alpha=0.45, ls="-")
    for pack, shape in style.pack_markers(own.pack.tolist()).items():
        for down in (False, True):
            chosen = (own.pack == pack) & ((own.direction == "down") == down)
            dots = _dots(shape, look.colour, hollow=down)
            dots.set(xdata=x[chosen], ydata=mu[chosen], alpha=0.9)
            axes.add_line(dots)
        dots = _dots(shape, look.colour)
        dots.set_label(style.shortened(f"pack {pack}"))
        key.append(dots)
    return key


def _dots(shape: str, colour: str, *, hollow: bool = False) -> Line2D:
    face = style.PAPER if hollow else colour
    return Line2D([], [], ls="none", marker=shape, color=colour, mfc=face, mew=0.9)


def _key_of_lines(points: FrictionPoints) -> list[Line2D | Patch]:
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
