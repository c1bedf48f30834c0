"""Residuals of each group against every coordinate and time, with a smooth trend and its band."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from rigdata.arrays import FloatArray, TextArray
from rigdata.figures import style
from rigdata.friction.checks import LARGE_TREND
from rigdata.friction.conditions import AXES
from rigdata.friction.diagnostics.findings import DRIFT_PER_RUN, HYSTERESIS, ORDER, ResidualTrend
from rigdata.friction.diagnostics.trends import order_in_time
from rigdata.friction.results import FrictionFit, Group, fitted_points
from rigdata.reduction.points import FrictionPoints

_COORDINATES = (*AXES, ORDER)
_ORDER_LABEL = "Run of its pack, in order"
_LEVEL = "level"
_ROW_IN = 1.45
_MOST_SEEN = 99.5  # percentile of the points that the axis must hold


@style.styled()
def residuals(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    marks: Mapping[Group, style.Mark],
) -> Figure:
    """Draw residuals less their pack's mean, one row of panels a group.

    Packs differ in level, which is no fault of the law; so their means are taken
    off first.  The band holds the whole of the smooth trend with 99 %: where it
    leaves zero the law misses something, and the panel says so.
    """
    drawing = style.figure(0.75 + _ROW_IN * len(fits))
    grid = drawing.subplots(len(fits), len(_COORDINATES), sharex="col", sharey=True, squeeze=False)
    reach = 0.5
    for row, (group, fit) in zip(grid, fits.items(), strict=True):
        own = fitted_points(points, fit)
        percent = 100.0 * less_pack_means(fit.residual, own.pack)
        reach = max(reach, float(np.percentile(np.abs(percent), _MOST_SEEN)))
        for panel, coordinate in zip(row, _COORDINATES, strict=True):
            x = order_in_time(own) if coordinate == ORDER else getattr(own, coordinate)
            _draw(panel, x, percent, own, marks[group], str(group))
            trend = fit.diagnostics.trend(coordinate) if fit.diagnostics else None
            if trend is not None:
                reach = max(reach, _draw_trend(panel, trend, marks[group], str(group)))
                _label(panel, _trend_words(trend, fit))
        hysteresis = _clear(fit, HYSTERESIS)
        told = f": hysteresis {hysteresis:+.1f} %" if hysteresis else ""
        row[0].set_title(style.shortened(str(group)) + told.replace("-", "\N{MINUS SIGN}"))
    for panel, coordinate in zip(grid[-1], _COORDINATES, strict=True):
        label = _ORDER_LABEL if coordinate == ORDER else style.axis_label(coordinate)
        panel.set_xlabel(label)
    for panel in grid[:, 0]:
        style.log_speed_axis(panel)
    grid[0, -1].xaxis.set_major_locator(MaxNLocator(integer=True, nbins=5))
    grid[0, 0].set_ylim(-1.1 * reach, 1.1 * reach)
    drawing.supylabel("Point against its law [%]", fontsize=9.0)
    drawing.legend(handles=_key(points), loc="outside lower center", ncols=4)
    return drawing


def less_pack_means(residual: FloatArray, pack: TextArray) -> FloatArray:
    """Return residuals with the mean of each pack taken off."""
    shape = residual.copy()
    for name in np.unique(pack):
        shape[pack == name] -= residual[pack == name].mean()
    return shape


def _draw(
    panel: Axes,
    x: FloatArray,
    percent: FloatArray,
    own: FrictionPoints,
    look: style.Mark,
    name: str,
) -> None:
    """Points by the shape of their pack, hollow on the way down, and the zero line."""
    panel.axhline(0.0, color=style.INK, lw=0.8, zorder=2.5)
    for pack, shape in style.pack_markers(own.pack.tolist()).items():
        for down in (False, True):
            chosen = (own.pack == pack) & ((own.direction == "down") == down)
            panel.plot(
                x[chosen],
                percent[chosen],
                color=look.colour,
                ls="none",
                marker=shape,
                ms=2.4,
                mfc="none" if down else look.colour,
                mew=0.5,
                alpha=0.45,
                gid=f"{name} {pack}" + " downwards" * down,
            )


def _draw_trend(panel: Axes, trend: ResidualTrend, look: style.Mark, group: str) -> float:
    """Draw the trend with its band, and return how far it reaches from zero."""
    name = f"{group}, trend, 99 % band"
    value, low, high = (100.0 * part for part in (trend.value, trend.low, trend.high))
    panel.fill_between(
        trend.x, low, high, color=look.colour, alpha=0.22, lw=0, zorder=2.6, gid=name
    )
    panel.plot(trend.x, value, color=look.colour, lw=1.7, zorder=3.0, gid=name)
    return float(np.max(np.abs(value)))


def _trend_words(trend: ResidualTrend, fit: FrictionFit) -> str:
    """Return whether residuals are level, by their band and by the tests of the fit."""
    drift = _clear(fit, DRIFT_PER_RUN) if trend.coordinate == ORDER else 0.0
    errors = fit.residual_trend.get(trend.coordinate, 0.0)
    if drift:
        return f"drift: {drift:+.1f} % a run"
    if not trend.level:
        return f"leaves zero: {100.0 * trend.leaves_by:+.1f} %"
    return f"trend of {abs(errors):.1f} s.e." if abs(errors) > LARGE_TREND else _LEVEL


def _clear(fit: FrictionFit, name: str) -> float:
    """Return a finding in percent, 0 where it is not beyond chance."""
    found = fit.diagnostics.finding(name) if fit.diagnostics else None
    return 100.0 * found.value if found is not None and found.clear else 0.0


def _label(panel: Axes, words: str) -> None:
    """Write in the corner of a panel, bold where there is something to see."""
    panel.text(
        0.98,
        0.97,
        words.replace("-", "\N{MINUS SIGN}"),
        transform=panel.transAxes,
        ha="right",
        va="top",
        fontsize=8.0,
        color=style.MUTED if words == _LEVEL else style.INK,
        fontweight="normal" if words == _LEVEL else "bold",
        bbox={"facecolor": style.PAPER, "alpha": 0.75, "pad": 1.0, "lw": 0.0},
        zorder=4.0,
    )


def _key(points: FrictionPoints) -> list[Line2D | Patch]:
    key: list[Line2D | Patch] = [_dot("shape: pack")]
    if np.any(points.direction == "down"):
        key.append(_dot("hollow: on the way down", hollow=True))
    key.append(Line2D([], [], color=style.MUTED, label="smooth trend"))
    key.append(Patch(color=style.MUTED, alpha=0.3, lw=0, label="band that holds it, 99 %"))
    return key


def _dot(label: str, *, hollow: bool = False) -> Line2D:
    face = "none" if hollow else style.MUTED
    return Line2D([], [], ls="none", marker="o", color=style.MUTED, ms=4.0, mfc=face, label=label)
