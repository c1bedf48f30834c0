"""Ratios of friction coefficients with their intervals and the margin of equivalence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from rigdata.arrays import FloatArray, frozen
from rigdata.comparison.ratios import Ratio
from rigdata.figures import style
from rigdata.friction.results import Group


@dataclass(frozen=True, eq=False)
class RatioCurve:
    """A ratio along slip speed at the temperature and pressure of its quoted condition.

    Attributes
    ----------
    slip_speed_m_s : (n,) array
        Rising. [m/s]
    ratio, low, high : (n,) array
        The ratio and the 95 % band that holds at all conditions at once.
    """

    slip_speed_m_s: FloatArray
    ratio: FloatArray
    low: FloatArray
    high: FloatArray

    def __post_init__(self) -> None:
        for name in ("slip_speed_m_s", "ratio", "low", "high"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


def along_speed(ratio: Ratio) -> RatioCurve:
    """Return `ratio` where temperature and pressure are those of the quoted condition."""
    at = ratio.conditions
    here = (at.temperature_c == at.temperature_c[0]) & (at.pressure_mpa == at.pressure_mpa[0])
    # The quoted condition may stand on a node of the grid: each speed once.
    speed, first = np.unique(at.slip_speed_m_s[here], return_index=True)
    chosen = np.flatnonzero(here)[first]
    band = ratio.band_low[chosen], ratio.band_high[chosen]
    return RatioCurve(speed, ratio.ratio[chosen], *band)


@style.styled()
def ratio_curve(
    ratios: Sequence[Ratio], marks: Mapping[Group, style.Mark], *, against: str
) -> Figure:
    """Draw ratios against slip speed; the larger dot is the quoted condition.

    Parameters
    ----------
    ratios : sequence of Ratio
        Each of another group, all with one margin.
    marks : mapping of Group to Mark
        How each group looks.
    against : str
        What the ratios are taken to, for the axis label.
    """
    height = 3.8
    drawing = style.figure(height)
    axes = drawing.add_subplot()
    margin = ratios[0].margin
    axes.axhspan(
        1.0 - margin, 1.0 + margin, fc="none", ec=style.MUTED, hatch="///", lw=0.0, alpha=0.5
    )
    axes.axhline(1.0, color=style.INK, lw=0.9, zorder=1.5)
    ends = []
    for ratio in ratios:
        look = marks[ratio.group]
        curve = along_speed(ratio)
        _draw(axes, ratio, curve, look)
        ends.append((float(curve.ratio[-1]), str(ratio.group), look.colour))
    axes.margins(x=0.03)
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, 1.0 - 1.2 * margin), max(high, 1.0 + 1.2 * margin))
    axes.set_xlabel(style.axis_label("slip_speed_m_s"))
    axes.set_ylabel(f"Ratio to {style.shortened(against)}")
    style.log_speed_axis(axes)
    style.end_labels(axes, ends, height_in=height)
    percent = f"{100.0 * margin:.3g}"
    equal = Patch(
        fc="none", ec=style.MUTED, hatch="////", lw=0.0, label=f"equivalent within {percent} %"
    )
    band = Patch(color=style.MUTED, alpha=0.3, lw=0, label="95 % band, everywhere at once")
    dot = Line2D([], [], ls="none", marker="o", ms=7.5, mfc=style.PAPER, color=style.INK)
    dot.set_label("quoted condition, 95 % interval")
    drawing.legend(handles=[dot, band, equal], loc="outside lower center", ncols=3)
    return drawing


def _draw(axes: Axes, ratio: Ratio, curve: RatioCurve, look: style.Mark) -> None:
    x, name = curve.slip_speed_m_s, f"{ratio.group} over {ratio.against}"
    axes.fill_between(x, curve.low, curve.high, color=look.colour, alpha=0.18, lw=0, gid=name)
    axes.plot(x, curve.ratio, color=look.colour, ls=look.line, marker=look.marker, gid=name)
    quoted = float(ratio.conditions.slip_speed_m_s[0])
    middle, low, high = (float(v[0]) for v in (ratio.ratio, ratio.low, ratio.high))
    axes.errorbar(
        [quoted],
        [middle],
        [[middle - low], [high - middle]],
        color=look.colour,
        marker=look.marker,
        ms=7.5,
        mfc=style.PAPER,
        mew=1.5,
        capsize=3.0,
        gid=f"{name}, quoted, 95 % interval",
        ls="none",
    )
