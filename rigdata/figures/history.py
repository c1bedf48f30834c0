"""The friction coefficient over the life of a pack: while bedding in, and worn."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure

from rigdata.arrays import FloatArray
from rigdata.figures import style
from rigdata.friction.results import Group
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.trace import Trace


def sliding_work_kj(trace: Trace, at_s: FloatArray) -> FloatArray:
    """Return the work done in sliding from the start of a run up to each time. [kJ]

    The integral of ``|T omega|`` over the run as kept for drawing, so good to
    some percent; it orders the points of a run, no more.
    """
    power = np.abs(np.nan_to_num(trace.torque_nm * trace.slip_speed_rad_s))
    steps = np.diff(trace.time_s) * (power[1:] + power[:-1]) / 2.0
    work = np.concatenate([[0.0], np.cumsum(steps)])
    at: FloatArray = np.interp(at_s, trace.time_s, work) / 1e3
    return at


def bedding_history(
    points: FrictionPoints, traces: Mapping[str, Trace]
) -> dict[str, tuple[FloatArray, FrictionPoints]]:
    """Return for each pack its bedding points and the sliding work at each. [kJ]

    Runs of one pack follow each other in the order of the campaign.  Empty
    when no run was a bedding run.
    """
    bedding = points.select((points.procedure == "bedding") & (points.kind == "kinetic"))
    history = {}
    for pack in dict.fromkeys(bedding.pack):
        own = bedding.select(bedding.pack == pack)
        before, parts = 0.0, np.zeros(len(own))
        for run in dict.fromkeys(own.run):
            mine = own.run == run
            trace = traces.get(str(run))
            if trace is None:  # a file of points alone keeps no traces
                parts[mine] = np.nan
                continue
            parts[mine] = before + sliding_work_kj(trace, (own.start_s + own.end_s)[mine] / 2.0)
            before += float(sliding_work_kj(trace, trace.time_s[-1:])[0])
        history[str(pack)] = (parts, own)
    return history


@style.styled()
def bedding_in(
    history: Mapping[str, tuple[FloatArray, FrictionPoints]], marks: Mapping[Group, style.Mark]
) -> Figure:
    """Draw mu against sliding work while packs bed in; a flat end means bedded.

    Parameters
    ----------
    history : mapping of pack to (work, points)
        From `bedding_history`.
    marks : mapping of Group to Mark
        How each group looks.
    """
    height = 3.8
    drawing = style.figure(height)
    axes = drawing.add_subplot()
    shapes = style.pack_markers(list(history))
    timed = any(np.isnan(work).any() for work, _ in history.values())
    ends = []
    for pack, (work, own) in history.items():
        look = marks[Group(str(own.material[0]), str(own.state[0]))]
        x = (own.start_s + own.end_s) / 2.0 if timed else work
        order = np.argsort(x, kind="stable")
        axes.errorbar(
            x[order],
            own.mu[order],
            own.u_random[order],
            color=look.colour,
            ls=look.line,
            lw=1.0,
            elinewidth=0.8,
            marker=shapes[pack],
            mfc=style.PAPER,
        )
        ends.append((float(own.mu[order][-1]), f"pack {pack}", look.colour))
    axes.set_xlabel("Time in the run [s]" if timed else "Sliding work so far [kJ]")
    axes.set_ylabel(style.axis_label("mu"))
    axes.margins(x=0.02)
    axes.autoscale_view()
    style.end_labels(axes, ends, height_in=height)
    return drawing
