"""Bedding-in: mu over its steady level against sliding work, and when each pack was steady."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rigdata.arrays import FloatArray
from rigdata.bedding.results import PackBedding
from rigdata.figures import style
from rigdata.friction.results import Group

_COURSE_IN, _ROW_IN = 2.3, 0.2
_BINS = 36  # of the axis, in which the points of a pack are averaged
_STEPS = 200
_PERCENT = 100.0


@style.styled()
def bedding_courses(
    packs: Sequence[PackBedding], marks: Mapping[Group, style.Mark], steady: float
) -> Figure:
    """Draw the course of every pack that settled, two panels a group.

    Parameters
    ----------
    packs : sequence of PackBedding
        Those that show a change.
    marks : mapping of Group to Mark
        How each group looks.
    steady : float
        How near to its level mu counts as steady; a band.
    """
    groups = [group for group in marks if any(one.group == group for one in packs)]
    members = [[one for one in packs if one.group == group] for group in groups]
    heights = [part for own in members for part in (_COURSE_IN, _ROW_IN * (len(own) + 1))]
    drawing = style.figure(sum(heights) + 0.75 + 0.45 * len(groups))
    panels = drawing.subplots(
        len(heights), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": heights}
    )[:, 0]
    low = min(float(one.course_kj[one.course_kj > 0.0].min()) for one in packs)
    high = max(float(one.course_kj[-1]) for one in packs)
    edges = np.geomspace(low, high * 1.001, _BINS + 1)
    shapes = style.pack_markers([one.pack for one in packs])
    for i, (group, own) in enumerate(zip(groups, members, strict=True)):
        _courses(panels[2 * i], own, marks[group], shapes, edges, steady)
        _change_points(panels[2 * i + 1], own, marks[group], shapes, high)
        panels[2 * i].set_title(style.shortened(str(group), 40))
    for panel in panels[:-1]:
        panel.tick_params(axis="x", which="both", length=0.0)
    panels[-1].set_xlabel("Sliding work of the pack [kJ]")
    panels[-1].set_xlim(0.9 * low, 1.1 * high)
    style.log_speed_axis(panels[-1])
    return drawing


def _courses(
    axes: Axes,
    packs: Sequence[PackBedding],
    look: style.Mark,
    shapes: Mapping[str, str],
    edges: FloatArray,
    steady: float,
) -> None:
    band = _PERCENT * steady
    axes.axhspan(-band, band, color=style.GRID, lw=0.0)
    axes.axhline(0.0, color=style.MUTED, lw=0.8)
    for one in packs:
        # What was fitted is smooth between the points, which stand as means over each bin.
        line = np.geomspace(max(one.course_kj[0], edges[0]), one.course_kj[-1], _STEPS)
        fitted = np.interp(line, one.course_kj, one.fitted)
        axes.plot(
            line,
            _PERCENT * (fitted - 1.0),
            color=look.colour,
            lw=0.8,
            ls=look.line,
            gid=f"pack {one.pack}, fitted",
        )
        place = np.digitize(one.course_kj, edges)
        means = [
            (float(one.course_kj[place == i].mean()), float(one.course[place == i].mean()))
            for i in np.unique(place)
        ]
        work, course = np.transpose(means)
        axes.plot(
            work,
            _PERCENT * (course - 1.0),
            ls="none",
            marker=shapes[one.pack],
            mec=look.colour,
            mfc=style.PAPER,
            label=style.shortened(f"pack {one.pack}"),
            gid=f"pack {one.pack}, means",
        )
    axes.annotate(
        f"steady: \N{PLUS-MINUS SIGN}{band:g} %",
        (0.995, band),
        xycoords=("axes fraction", "data"),
        xytext=(0.0, 2.0),
        textcoords="offset points",
        ha="right",
        size=8,
        color=style.MUTED,
    )
    axes.set_ylabel("mu off its steady level [%]")
    axes.legend(loc="best", ncols=1 + len(packs) // 5)


def _change_points(
    axes: Axes,
    packs: Sequence[PackBedding],
    look: style.Mark,
    shapes: Mapping[str, str],
    far: float,
) -> None:
    """Draw from which work each pack is steady, with its interval, a row a pack."""
    for row, one in enumerate(packs):
        top = one.high_kj if np.isfinite(one.high_kj) else 2.0 * far
        axes.plot(
            [max(one.low_kj, 1e-9), top],
            [row, row],
            color=look.colour,
            lw=2.0,
            gid="steady from, 95 % interval",
        )
        axes.plot(
            [one.work_kj],
            [row],
            color=look.colour,
            marker=shapes[one.pack],
            ls="none",
            gid="steady from, 95 % interval",
        )
        told = f"{one.work_kj:.0f} kJ" if one.runs else "not by the end"
        axes.annotate(
            told,
            (1.01, row),
            xycoords=("axes fraction", "data"),
            va="center",
            size=8,
            annotation_clip=False,
        )
    axes.set_yticks(range(len(packs)), [style.shortened(one.pack, 12) for one in packs])
    axes.set_ylim(len(packs) - 0.4, -0.6)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0.0)
    axes.set_title("steady from, with 95 % intervals", fontsize=8, fontweight="normal")
