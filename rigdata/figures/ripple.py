"""Torque ripple over slip speed: where packs stick and slip."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from rigdata.figures import style
from rigdata.friction.results import Group
from rigdata.friction.ripple import Windows
from rigdata.friction.stick_slip import StickSlip

_LEAST = 1e-3  # of the torque; less is drawn on the lower edge


@style.styled()
def ripple_over_speed(
    windows: Windows, found: Mapping[Group, StickSlip], marks: Mapping[Group, style.Mark]
) -> Figure:
    """Draw the torque ripple of every window against its slip speed, both logarithmic.

    Parameters
    ----------
    windows : Windows
        Solid where they oscillate, hollow where they run quietly.
    found : mapping of Group to StickSlip
        Whose onset is marked by a line, its interval by a band.
    marks : mapping of Group to Mark
        How each group looks.
    """
    drawing = style.figure(4.2)
    axes = drawing.subplots()
    points = windows.points
    key: list[Line2D] = []
    for group, look in marks.items():
        own = (points.material == group.material) & (points.state == group.state)
        if not own.any():
            continue
        for seen in (False, True):
            chosen = own & (windows.oscillates == seen)
            axes.plot(
                points.slip_speed_m_s[chosen],
                100.0 * np.maximum(points.torque_ripple[chosen], _LEAST),
                ls="none",
                marker=look.marker,
                color=look.colour,
                mfc=look.colour if seen else style.PAPER,
                mew=0.8,
                alpha=0.85,
                zorder=2.5 if seen else 2.0,
                gid=f"{group}, " + ("oscillates" if seen else "runs quietly"),
            )
        key.append(
            Line2D(
                [],
                [],
                color=look.colour,
                marker=look.marker,
                ls="",
                label=style.shortened(str(group)),
            )
        )
        if group in found:
            _mark_onset(axes, found[group], look)
    axes.set_yscale("log")
    axes.set_ylim(80.0 * _LEAST, 130.0 * max(float(points.torque_ripple.max()), 10.0 * _LEAST))
    axes.yaxis.set_major_locator(LogLocator(base=10.0, subs=(1.0, 2.0, 5.0), numticks=20))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel(style.axis_label("slip_speed_m_s"))
    axes.set_ylabel("Torque ripple [% of mean torque]")
    style.log_speed_axis(axes)
    for name, solid in (("solid: oscillates", True), ("hollow: runs quietly", False)):
        face = style.INK if solid else style.PAPER
        key.append(Line2D([], [], color=style.INK, marker="o", mfc=face, ls="", label=name))
    if any(one.onset is not None for one in found.values()):
        key.append(Line2D([], [], color=style.INK, lw=1.2, label="onset, 95 % interval"))
    drawing.legend(handles=key, loc="outside lower center", ncols=min(len(key), 4))
    return drawing


def _mark_onset(axes: Axes, found: StickSlip, look: style.Mark) -> None:
    if found.onset is None:
        return
    axes.axvspan(found.onset.low, found.onset.high, color=look.colour, alpha=0.15, lw=0)
    axes.axvline(found.onset.speed_m_s, color=look.colour, ls=look.line, lw=1.2)
