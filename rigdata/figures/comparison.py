"""One look at how a material stands against another: curves, ratios and traits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure, SubFigure
from matplotlib.gridspec import GridSpec

from rigdata.comparison.pairs import QUOTED
from rigdata.comparison.ratios import Ratio
from rigdata.comparison.standings import Standing, standings
from rigdata.comparison.trait_differences import TraitDifference
from rigdata.comparison.trait_kinds import Measured, Side
from rigdata.figures import style
from rigdata.figures.laws import Curve, along
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.slopes import tested_reference

_ROW_IN, _TRAIT_IN = 0.235, 0.52  # height of a row of ratios, and of one trait
_LEAST_IN = 4.6
_NAME = 17  # letters of a name beside a row
_SMALL = 8.0


@style.styled()
def comparison(
    ratios: Sequence[Ratio],
    in_service: Sequence[Ratio],
    traits: Sequence[TraitDifference],
    fits: Mapping[Group, FrictionFit],
    marks: Mapping[Group, style.Mark],
) -> Figure:
    """Draw one material against another, all that was compared of them on one page.

    Parameters
    ----------
    ratios : sequence of Ratio
        The material over the other, state by state; the curves are of the first.
    in_service : sequence of Ratio
        Worn over new of either, with the same margin.
    traits : sequence of TraitDifference
        Of the first of `ratios`; those not compared are left out.
    fits : mapping of Group to FrictionFit
        The laws.
    marks : mapping of Group to Mark
        How each group looks.
    """
    shown = [(one, one.measured) for one in traits if one.measured is not None]
    rows = sum(len(standings(ratio)) for ratio in ratios) + len(in_service)
    top_in = 0.95 + _ROW_IN * rows
    drawing = style.figure(max(top_in + _TRAIT_IN * len(shown) + 0.2, _LEAST_IN))
    parts = drawing.subfigures(1, 2, squeeze=False, width_ratios=(0.8, 1.0), wspace=0.04)
    left, right = parts[0]
    _curves(left, ratios[0], fits, marks)
    heights = [top_in, *[_TRAIT_IN] * len(shown)]
    grid = GridSpec(len(heights), 1, figure=right, height_ratios=heights)
    _ratios(right.add_subplot(grid[0]), ratios, in_service, marks)
    for i, (one, found) in enumerate(shown):
        last = right.add_subplot(grid[i + 1])
        _trait(last, one, found, marks)
    if shown:
        last.set_xlabel("bars and bands: 95 % intervals", fontsize=_SMALL, loc="right")
    return drawing


def _curves(
    left: SubFigure,
    ratio: Ratio,
    fits: Mapping[Group, FrictionFit],
    marks: Mapping[Group, style.Mark],
) -> None:
    """mu against slip speed of both, one panel a temperature."""
    both = sorted((ratio.group, ratio.against), key=lambda group: _level(fits[group]))
    places = standings(ratio)
    panels = left.subplots(len(places), 1, sharex=True, sharey=True, squeeze=False).ravel()
    pressure = float(ratio.conditions.pressure_mpa[0])
    low = max(float(fits[group].envelope.low[0]) for group in both)
    high = min(float(fits[group].envelope.high[0]) for group in both)
    speeds = np.geomspace(low, high, 120)
    for panel, place in zip(panels, places, strict=True):
        for group, above in zip(both, (False, True), strict=True):
            fit, look = fits[group], marks[group]
            where = replace(fit.reference, temperature_c=place.temperature_c, pressure_mpa=pressure)
            curve = along(fit, "slip_speed_m_s", speeds, where)
            band = (curve.mean_low, curve.mean_high)
            panel.fill_between(
                speeds,
                *band,
                where=curve.inside,
                color=look.colour,
                alpha=0.18,
                lw=0,
                gid=f"{group} law",
            )
            shown = np.where(curve.inside, curve.mu, np.nan)
            panel.plot(speeds, shown, color=look.colour, ls=look.line, gid=f"{group} law")
            _name_curve(panel, group.material, curve, look.colour, above=above)
        panel.set_title(_at(ratio, place), fontsize=9.0)
        panel.set_ylabel(style.axis_label("mu"), fontsize=_SMALL)
        panel.margins(x=0.0, y=0.2)
    style.log_speed_axis(panels[-1])
    panels[-1].set_xlabel(style.axis_label("slip_speed_m_s"))


def _at(ratio: Ratio, place: Standing) -> str:
    return style.typeset_unit(f"{ratio.group.state}, {place.at}")


def _level(fit: FrictionFit) -> float:
    return float(fit.predict(tested_reference(fit)).mu[0])


def _name_curve(panel: Axes, name: str, curve: Curve, colour: str, *, above: bool) -> None:
    """Write a name beside the band, clear of it over the length of the name."""
    known = np.flatnonzero(curve.inside)
    if not known.size:
        return
    beside = known[: max(1, int(0.6 * known.size))]
    side = curve.mean_high[beside].max() if above else curve.mean_low[beside].min()
    panel.annotate(
        style.shortened(name, _NAME),
        (float(curve.x[known[0]]), float(side)),
        xytext=(3.0, 2.5 if above else -2.5),
        textcoords="offset points",
        va="bottom" if above else "top",
        color=colour,
        fontsize=_SMALL,
        weight="bold",
    )


def _ratios(
    axes: Axes,
    ratios: Sequence[Ratio],
    in_service: Sequence[Ratio],
    marks: Mapping[Group, style.Mark],
) -> None:
    """A dot and an interval for each ratio, in percent of more or less grip."""
    margin = 100.0 * ratios[0].margin
    axes.axvspan(-margin, margin, fc="none", ec=style.MUTED, hatch="/////", lw=0.0, alpha=0.9)
    axes.axvline(0.0, color=style.INK, lw=0.9, zorder=1.5)
    names: list[str] = []
    for ratio in ratios:
        for place in standings(ratio):
            names.append(_at(ratio, place))
            _dot(axes, len(names), place, marks[ratio.group])
    for ratio in in_service:
        quoted = next(place for place in standings(ratio) if place.name == QUOTED)
        over = f"{ratio.group.state}/{ratio.against.state}"
        names.append(f"{style.shortened(ratio.group.material, _NAME)}, {over}")
        _dot(axes, len(names), quoted, marks[ratio.group])
    n = len(names)
    if in_service:
        axes.axhline(n - len(in_service) + 0.5, color=style.MUTED, lw=0.6, ls=(0, (1.0, 2.0)))
    axes.set_yticks(range(1, n + 1), names, fontsize=_SMALL)
    axes.set_ylim(n + 0.6, 0.4)
    axes.margins(x=0.1)
    low, high = axes.get_xlim()
    axes.set_xlim(low, high + 0.28 * (high - low))  # room for the words beside the dots
    axes.grid(visible=False, axis="y")
    material, against = ratios[0].group.material, ratios[0].against.material
    axes.set_title(
        f"Grip of {style.shortened(material)} over {style.shortened(against)}",
        fontsize=9.0,
        loc="right",
    )
    axes.set_xlabel(f"More grip [%]; hatched: equivalent within {margin:.3g} %", loc="right")


def _dot(axes: Axes, row: int, place: Standing, look: style.Mark) -> None:
    middle, low, high = (100.0 * (v - 1.0) for v in (place.ratio, place.low, place.high))
    _whisker(axes, row, Side(middle, 0.0, low, high), look)
    axes.annotate(
        place.grips,
        (high, row),
        xytext=(4.0, 0.0),
        textcoords="offset points",
        va="center",
        fontsize=_SMALL,
        annotation_clip=False,
    )


def _trait(
    axes: Axes, one: TraitDifference, found: Measured, marks: Mapping[Group, style.Mark]
) -> None:
    """One trait of both groups on an axis of its own, and what is shown of it."""
    for row, (group, side) in enumerate(
        ((one.group, found.group), (one.against, found.against)), start=1
    ):
        _whisker(axes, row, side, marks[group])
    names = [style.shortened(group.material, _NAME) for group in (one.group, one.against)]
    axes.set_yticks([1, 2], names, fontsize=_SMALL)
    axes.set_ylim(2.6, 0.4)
    axes.margins(x=0.08)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="x", labelsize=7.5, pad=1.0)
    axes.locator_params(axis="x", nbins=5)
    low, high = axes.get_xlim()
    if low < 0.0 < high:
        axes.axvline(0.0, color=style.INK, lw=0.9, zorder=1.5)
    unit = "" if one.unit == "1" else f" [{one.unit}]"
    axes.xaxis.set_gid(f"{one.trait}{unit}")
    title = f"{one.trait}{unit}: {one.meaning or one.verdict}"
    axes.set_title(title, fontsize=_SMALL, pad=2.0, loc="right")


def _whisker(axes: Axes, row: int, side: Side, look: style.Mark) -> None:
    axes.plot(
        [side.low, side.high], [row, row], color=look.colour, lw=1.6, gid="95 % interval or band"
    )
    axes.plot([side.value], [row], ls="none", marker=look.marker, ms=5.0, color=look.colour)
