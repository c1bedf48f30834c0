"""The slope of mu over slip speed, cold and hot: where mu falls, it feeds chatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from rigdata.arrays import FloatArray
from rigdata.figures import style
from rigdata.friction.results import Group
from rigdata.friction.slopes import DOUBLING, SpeedSlope

_LOOKS = {
    "reference": style.Mark(style.BLACK, "o", "-"),
    "cold": style.Mark(style.BLUE, "s", (0, (6.0, 1.6))),
    "hot": style.Mark(style.VERMILION, "^", (0, (3.0, 1.3))),
}
_PANEL_IN = 2.3
_THICK, _THIN = 3.0, 1.3


@style.styled()
def speed_slopes(slopes: Mapping[Group, Sequence[SpeedSlope]]) -> Figure:
    """Draw the change of mu per doubling of slip speed, one panel a group.

    That is ``v dmu/dv ln 2``: the slope in s/m spans decades over the speeds of a
    sweep, and times the speed it keeps its sign and can be seen.  The line is thick
    where mu falls beyond doubt.

    Parameters
    ----------
    slopes : mapping of Group to sequence of SpeedSlope
        At the reference, and where they were tested cold and hot, in this order.
    """
    columns = min(2, len(slopes))
    rows = -(-len(slopes) // columns)
    drawing = style.figure(0.8 + _PANEL_IN * rows)
    grid = drawing.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    panels = grid.ravel()
    for panel, (group, found) in zip(panels, slopes.items(), strict=False):
        panel.axhline(0.0, color=style.INK, lw=0.9, zorder=2.5)
        for slope, (name, look) in zip(found, _LOOKS.items(), strict=False):
            _draw(panel, slope, look, f"{group}, {name}")
        panel.set_title(style.shortened(str(group)))
    style.log_speed_axis(panels[0])
    low, high = panels[0].get_ylim()
    reach = 0.15 * (high - low)
    panels[0].set_ylim(min(low, -reach), max(high, reach))
    for panel, found in zip(panels, slopes.values(), strict=False):
        _name_sides(panel, found)
    for panel in panels[len(slopes) :]:
        panel.set_axis_off()
    for panel in grid[-1]:
        panel.set_xlabel(style.axis_label("slip_speed_m_s"))
    drawing.supylabel("Change of mu per doubling of slip speed", fontsize=9.0)
    drawing.legend(handles=_key(list(slopes.values())), loc="outside lower center", ncols=5)
    return drawing


def _draw(panel: Axes, slope: SpeedSlope, look: style.Mark, name: str) -> None:
    speed = slope.where.slip_speed_m_s
    value, low, high = (DOUBLING * speed * part for part in (slope.value, slope.low, slope.high))
    panel.fill_between(speed, low, high, color=look.colour, alpha=0.18, lw=0, gid=name)
    panel.plot(speed, value, color=look.colour, ls=look.line, lw=_THIN, gid=name)
    falling = np.where(slope.high < 0.0, value, np.nan)
    doubt = f"{name}, falls beyond doubt"
    panel.plot(speed, falling, color=look.colour, ls=look.line, lw=_THICK, gid=doubt)


def _name_sides(panel: Axes, found: Sequence[SpeedSlope]) -> None:
    """Grey the side of zero that feeds chatter, and say so where a slope lies there."""
    panel.axhspan(panel.get_ylim()[0], 0.0, color=style.MUTED, alpha=0.09, lw=0, zorder=0.5)
    if any(slope.falling for slope in found):
        _name_side(panel, found, "falls: feeds chatter", -1.0, "bold")
    if any(slope.rising for slope in found):
        _name_side(panel, found, "rises: damps chatter", 1.0, "normal")


def _name_side(
    panel: Axes, found: Sequence[SpeedSlope], words: str, sign: float, weight: str
) -> None:
    """Write on the left of one side of zero, at the end that the lines leave free."""
    edge = float(max(sign * limit for limit in panel.get_ylim()))
    starts = [DOUBLING * s.value[0] * s.where.slip_speed_m_s[0] for s in found]
    far = max(sign * start for start in starts) < 0.5 * edge
    panel.annotate(
        words,
        xy=(0.02, sign * edge if far else 0.0),
        xycoords=("axes fraction", "data"),
        xytext=(0.0, -4.0 * sign if far else 4.0 * sign),
        textcoords="offset points",
        va="top" if (sign > 0.0) == far else "bottom",
        fontsize=8.5,
        fontweight=weight,
        zorder=4.0,
    )


def _key(slopes: Sequence[Sequence[SpeedSlope]]) -> list[Line2D | Patch]:
    key: list[Line2D | Patch] = []
    for i, (name, look) in enumerate(_LOOKS.items()):
        places = [found[i].where for found in slopes if len(found) > i]
        if places:
            told = _temperatures([place.temperature_c for place in places])
            label = f"{name}, {told}"
            key.append(Line2D([], [], color=look.colour, ls=look.line, lw=_THIN, label=label))
    key.append(Line2D([], [], color=style.MUTED, lw=_THICK, label="falls beyond doubt"))
    key.append(Patch(color=style.MUTED, alpha=0.3, lw=0, label="95 % interval"))
    return key


def _temperatures(places: Sequence[FloatArray]) -> str:
    """Return the temperatures of one line over all groups in words."""
    low, high = (float(end(place[0] for place in places)) for end in (min, max))
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    return style.typeset_unit(f"{span} degC")
