"""One run as it was logged, with the windows that became friction points."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.reduction.trace import Trace

_MOST_NUMBERS = 26  # more window numbers than this would touch each other


@style.styled()
def run_trace(trace: Trace) -> Figure:
    """Draw torque, clamp load, slip speed and plate temperature against time.

    Windows are shaded and numbered as in their point's name; those not used
    are hatched.
    """
    drawing = style.figure(5.8)
    panels = drawing.subplots(4, 1, sharex=True, height_ratios=(1.35, 1, 1, 1))
    time = trace.time_s
    panels[0].plot(time, trace.torque_raw_nm, color=style.VERMILION, lw=0.8, ls="-")
    panels[0].plot(time, trace.torque_nm, color=style.BLACK, lw=1.1)
    panels[1].plot(time, trace.clamp_load_n / 1e3, color=style.BLACK, lw=1.1)
    panels[2].plot(time, trace.slip_speed_rad_s, color=style.BLACK, lw=1.1)
    panels[3].plot(time, trace.plate_temperature_c, color=style.BLACK, lw=1.1)
    titles = (
        style.axis_label("torque") + "; thin line: before drag and inertia were taken off",
        "Clamp load [kN]",
        style.axis_label("slip_speed"),
        style.axis_label("plate_temperature"),
    )
    for panel, title in zip(panels, titles, strict=True):
        panel.set_title(title, fontweight="normal", fontsize=9.0)
        panel.margins(x=0.0)
        _shade(panel, trace)
    low, high = panels[0].get_ylim()
    panels[0].set_ylim(low, high + 0.16 * (high - low))  # room for the numbers
    _number(panels[0], trace)
    panels[-1].set_xlabel("Time [s]")
    return drawing


def _shade(panel: Axes, trace: Trace) -> None:
    for window in trace.windows:
        if window.used:
            panel.axvspan(window.start_s, window.end_s, color=style.PURPLE, alpha=0.25, lw=0)
        else:
            panel.axvspan(
                window.start_s, window.end_s, fc="none", ec=style.MUTED, hatch="////", lw=0.4
            )


def _number(panel: Axes, trace: Trace) -> None:
    """Write the number of each window above it; every second or third where dense."""
    every = -(-len(trace.windows) // _MOST_NUMBERS)
    for i, window in enumerate(trace.windows):
        if i % max(every, 1) == 0:
            panel.annotate(
                window.point.rsplit("/", 1)[-1].lstrip("0") or "0",
                xy=((window.start_s + window.end_s) / 2.0, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(0, -2),
                textcoords="offset points",
                ha="center",
                va="top",
                fontsize=8.0,
                annotation_clip=True,
            )
