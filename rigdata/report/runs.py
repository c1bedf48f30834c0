"""Section on single runs: from a raw trace to friction points."""

from __future__ import annotations

import numpy as np

from rigdata.figures.run_trace import run_trace
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.trace import Trace
from rigdata.report.blocks import Section, figure, paragraph, table
from rigdata.report.html import Content
from rigdata.report.model import ReportInput
from rigdata.report.numbers import counted, interval, plain, with_u

_SHOWN = ("speed-sweep", "load-sweep", "temperature-sweep", "steady", "stint", "breakaway")
_MOST_TRACES = 3
_MOST_ROWS = 12  # of the points of a run; points.csv has them all


def traces_section(report: ReportInput) -> Section | None:
    """Show how a log becomes friction points, on the fullest run of each procedure."""
    chosen = example_traces(report)
    if not chosen:
        return None
    parts: list[Content] = [
        paragraph(
            "One run of each procedure as logged, with the windows that became friction points. "
            "The number of a window is the end of its point's name in points.csv."
        )
    ]
    for i, trace in enumerate(chosen):
        used = sum(window.used for window in trace.windows)
        lost = len(trace.windows) - used
        what = f"run {trace.run}, {trace.procedure} of pack {trace.pack}"
        tail = f"; the {counted(lost, 'hatched one')} not" if lost else ""
        parts.append(
            figure(
                run_trace(trace),
                name=f"trace-{i + 1}",
                title=what[0].upper() + what[1:],
                caption=f"{counted(used, 'shaded window')} became friction points{tail}; load, "
                "speed and temperature should be steady, or in a steady sweep, inside each.",
                description=f"Friction torque, clamp load, slip speed and plate temperature of "
                f"{what}, one above the other against time from {plain(trace.time_s[0])} to "
                f"{plain(trace.time_s[-1])} s, with {len(trace.windows)} windows marked.",
            )
        )
        parts.append(_windows_table(report.points, trace))
    return Section("traces", "From log to friction points", tuple(parts))


def example_traces(report: ReportInput) -> list[Trace]:
    """Return the run with the most used windows of each procedure, the baseline's first."""
    campaign = report.campaign

    def fullness(trace: Trace) -> tuple[int, bool]:
        base = campaign.packs[trace.pack].material == campaign.baseline
        return sum(window.used for window in trace.windows), base

    chosen = []
    for procedure in _SHOWN:
        runs = [t for t in report.reduction.traces.values() if t.procedure == procedure]
        runs = [trace for trace in runs if trace.windows]
        if runs:
            chosen.append(max(runs, key=fullness))
    return chosen[:_MOST_TRACES]


def _windows_table(points: FrictionPoints, trace: Trace) -> Content:
    own = points.select(points.run == trace.run)
    if not len(own):
        return None
    u = own.u_mu
    shown = np.unique(np.linspace(0, len(own) - 1, min(len(own), _MOST_ROWS)).astype(int))
    rows = [
        (
            str(own.point[i]),
            interval(float(own.start_s[i]), float(own.end_s[i]), 2.0),
            plain(float(own.slip_speed_m_s[i])),
            plain(float(own.temperature_c[i])),
            plain(float(own.pressure_mpa[i])),
            with_u(float(own.mu[i]), float(u[i])),
            "yes" if own.used[i] else str(own.reason[i]),
        )
        for i in shown.tolist()
    ]
    return table(
        f"{len(rows)} of the {counted(len(own), 'friction point')} of run {trace.run}; "
        "\N{PLUS-MINUS SIGN} is one standard uncertainty.",
        (
            "Point",
            "Time [s]",
            "Slip speed [m/s]",
            "Plate temperature [\N{DEGREE SIGN}C]",
            "Face pressure [MPa]",
            "Coefficient",
            "Used",
        ),
        rows,
        text=(6,),
    )
