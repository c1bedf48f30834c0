"""One run as it was logged, with the windows that became friction points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.reduction.trace import Trace, TraceWindow

_MOST_NUMBERS = 26  # more window numbers than this would touch each other


@style.styled()
def run_trace(trace: Trace) -> Figure:
    """Draw torque, clamp load, slip speed and plate temperature against time.

    Windows are shaded and numbered as in their point's name; those not used
    are hatched.
    """
    drawing = style.figure(5.8)
    panels = drawing.subplots(4, 1, sharex=True, height_ratios=(1.35, 1, 1, 1))
    time, stretches = trace.time_s, _stretches(trace)
    panels[0].plot(
        time, trace.torque_raw_nm, color=style.VERMILION, lw=0.8, ls="-", gid="as used | as logged"
    )
    panels[0].plot(time, trace.torque_nm, color=style.BLACK, lw=1.1, gid="as used")
    panels[1].plot(time, trace.clamp_load_n / 1e3, color=style.BLACK, lw=1.1, gid="as used")
    panels[2].plot(time, trace.slip_speed_rad_s, color=style.BLACK, lw=1.1, gid="as used")
    panels[3].plot(time, trace.plate_temperature_c, color=style.BLACK, lw=1.1, gid="as used")
    titles = (
        style.axis_label("torque") + "; thin line: before drag and inertia were taken off",
        "Clamp load [kN]",
        style.axis_label("slip_speed"),
        style.axis_label("plate_temperature"),
    )
    for panel, title in zip(panels, titles, strict=True):
        panel.yaxis.set_gid(title.partition(";")[0])
        panel.set_title(title, fontweight="normal", fontsize=9.0)
        panel.margins(x=0.0)
        _shade(panel, stretches)
    low, high = panels[0].get_ylim()
    panels[0].set_ylim(low, high + 0.16 * (high - low))  # room for the numbers
    _number(panels[0], stretches)
    panels[-1].set_xlabel("Time [s]")
    return drawing


@dataclass(frozen=True)
class _Stretch:
    """One or more windows over the same time, with their numbers."""

    start_s: float
    end_s: float
    numbers: str
    used: bool


def _stretches(trace: Trace) -> list[_Stretch]:
    """Join the windows that lie over each other: a load sweep gives two points at once."""
    found: dict[tuple[float, float], list[TraceWindow]] = {}
    for window in trace.windows:
        found.setdefault((window.start_s, window.end_s), []).append(window)
    return [
        _Stretch(
            start,
            end,
            ", ".join(window.point.rsplit("/", 1)[-1] for window in windows),
            any(window.used for window in windows),
        )
        for (start, end), windows in found.items()
    ]


def _shade(panel: Axes, stretches: Sequence[_Stretch]) -> None:
    for i, stretch in enumerate(stretches):
        span = (stretch.start_s, stretch.end_s)
        if stretch.used:
            # Windows of a sweep touch each other: every other one is paler.
            panel.axvspan(*span, color=style.PURPLE, alpha=0.32 if i % 2 else 0.18, lw=0)
        else:
            panel.axvspan(*span, fc="none", ec=style.MUTED, hatch="////", lw=0.4)


def _number(panel: Axes, stretches: Sequence[_Stretch]) -> None:
    """Write the number of each window at its top; every second or third where dense."""
    every = max(1, -(-len(stretches) // _MOST_NUMBERS))
    for stretch in stretches[::every]:
        panel.annotate(
            stretch.numbers,
            xy=((stretch.start_s + stretch.end_s) / 2.0, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, -2),
            textcoords="offset points",
            ha="center",
            va="top",
            fontsize=8.0,
            annotation_clip=True,
        )
