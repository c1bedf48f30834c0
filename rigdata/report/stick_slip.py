"""The part of the report on stick and slip as the logs show it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from rigdata.figures.ripple import ripple_over_speed
from rigdata.friction.results import Group
from rigdata.friction.ripple import FACTOR, LEAST_RIPPLE, ripple_windows
from rigdata.friction.stick_slip import NONE, StickSlip, find_stick_slip
from rigdata.friction.stick_slip_words import stick_slip_words
from rigdata.report.blocks import figure, items, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, counted, percent, plain, typeset

_MEANING = (
    "Torque ripple is the amplitude of the torque's oscillation above 1 Hz, from its standard "
    "deviation as if it were a sine, over the mean torque, less the noise of the idle cell. "
    f"A window oscillates where that is over {FACTOR:g} times what it is when the pack runs "
    f"quietly, over what noise could do, and over {100 * LEAST_RIPPLE:g} %. An onset belongs to "
    "pack and rig together: inertia, stiffness and damping of another drive line move it. "
    "Frequencies above half the logging rate cannot be told from lower ones."
)


def stick_slip_part(report: ReportInput) -> Content:
    """Say where packs stick and slip: in one line where none does."""
    found = find_stick_slip(report.points, report.fits, report.campaign.reference)
    if not found:
        return None
    found = {group: found[group] for group in report.marks if group in found}
    if all(_is_quiet(one) for one in found.values()):
        return (element("h3", "Stick and slip in the logs"), paragraph(_nothing(found)))
    return (
        element("h3", "Stick and slip in the logs"),
        items(typeset(stick_slip_words(one)) + "." for one in found.values()),
        _figure(report, found),
        _table(found.values()),
        paragraph(_MEANING),
    )


def _is_quiet(found: StickSlip) -> bool:
    return found.verdict == NONE and not found.baseline >= LEAST_RIPPLE


def _nothing(found: Mapping[Group, StickSlip]) -> str:
    ripples = [one.baseline for one in found.values() if math.isfinite(one.baseline)]
    limits = [one.limit for one in found.values() if math.isfinite(one.limit)]
    speeds = [speed for one in found.values() for speed in (one.slowest, one.fastest)]
    words = (
        f"No stick-slip in {counted(sum(one.windows for one in found.values()), 'window')} from "
        f"{plain(min(speeds), 2)} to {plain(max(speeds), 2)} m/s: torque ripples by "
        f"{_span(ripples)} of its mean"
    )
    if limits:
        words += f"; noise of the cell alone stays below {_span(limits)}"
    return words + "."


def _span(shares: list[float]) -> str:
    first, last = percent(min(shares)), percent(max(shares))
    return first if first == last else f"{first} to {last}"


def _figure(report: ReportInput, found: Mapping[Group, StickSlip]) -> Content:
    windows = ripple_windows(report.points)
    onsets = [
        f"{group}: onset at {plain(one.onset.speed_m_s, 2)} m/s"
        for group, one in found.items()
        if one.onset is not None
    ]
    return figure(
        ripple_over_speed(windows, found, report.marks),
        name="torque-ripple",
        title="Torque ripple over slip speed",
        caption="The line is the onset at the reference temperature and pressure; windows at "
        "others may lie on its far side.",
        description=f"{counted(len(windows), 'window')}, "
        f"{int(windows.oscillates.sum())} of them oscillating. {'; '.join(onsets)}.",
    )


def _table(found: Iterable[StickSlip]) -> Content:
    return table(
        "Stick and slip by group. An onset with one limit was not passed in these tests; ripple "
        "and frequency are the quartiles of the windows that oscillate.",
        (
            "Material (state)",
            "Oscillating",
            "With standstill",
            "Onset [m/s]",
            "95 % interval [m/s]",
            "Ripple [%]",
            "Frequency [Hz]",
            "Quiet ripple [%]",
            "Noise limit [%]",
        ),
        [
            (
                str(one.group),
                f"{one.oscillating} of {one.windows}",
                str(one.sticking),
                plain(one.onset.speed_m_s, 2) if one.onset is not None else NO_NUMBER,
                _limits(one),
                _quartiles(tuple(100.0 * r for r in one.ripple)),
                f"> {plain(one.above_hz)}" if math.isfinite(one.above_hz) else _quartiles(one.hz),
                plain(100.0 * one.baseline, 2),
                plain(100.0 * one.limit, 2),
            )
            for one in found
        ],
    )


def _limits(found: StickSlip) -> str:
    low, high = found.onset_range
    if low == 0.0:
        return f"< {plain(high, 2)}"
    if math.isinf(high):
        return f"> {plain(low, 2)}"
    return f"{plain(low, 2)} to {plain(high, 2)}" if math.isfinite(low) else NO_NUMBER


def _quartiles(pair: tuple[float, ...]) -> str:
    low, high = pair
    if not math.isfinite(low):
        return NO_NUMBER
    first, second = plain(low, 2), plain(high, 2)
    return first if first == second else f"{first} to {second}"
