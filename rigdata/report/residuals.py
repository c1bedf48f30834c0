"""The section on what the laws leave over: residuals, hysteresis and drift."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rigdata.figures.residuals import residuals
from rigdata.friction.checks import LARGE_TREND
from rigdata.friction.diagnostics import findings
from rigdata.friction.diagnostics.findings import Diagnostics, Finding
from rigdata.friction.results import Group
from rigdata.quantities import QUANTITIES
from rigdata.report.blocks import Section, figure, items, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, interval, joined, rounded, typeset

_COLUMNS = (
    (findings.HYSTERESIS, "Rising less falling sweeps [%]"),
    (findings.DRIFT_PER_RUN, "From run to run of a pack [% a run]"),
    (findings.DRIFT_AT_REFERENCE, "The same at the reference [% a run]"),
    (findings.DRIFT_PER_HOUR, "Within runs [% an hour]"),
    (findings.AFTER_HEAT, "Cool, after heat less before [%]"),
)


def residuals_section(report: ReportInput) -> Section | None:
    """Show what the points keep beyond their law, over every coordinate and over time."""
    known = {
        group: fit.diagnostics
        for group, fit in report.ordered_fits.items()
        if fit.diagnostics is not None
    }
    if not known:
        return None
    fits = {group: report.fits[group] for group in known}
    told = [f"{group}: {'; '.join(_trends(found))}" for group, found in known.items()]
    return Section(
        "residuals",
        "What the laws leave over",
        (
            items(_words(report, known)),
            figure(
                residuals(report.points, fits, report.marks),
                name="residuals",
                title="Points above or below their law",
                caption="Each pack's mean is taken off. A trend whose band holds zero is level: "
                "the law has the right shape there, and nothing drifts.",
                description="Relative deviation of each used point from its law, less the mean "
                "of its pack, against slip speed, plate temperature, face pressure and the "
                f"order of the runs. {'. '.join(told)}.",
            ),
            _numbers(known),
        ),
    )


def _words(report: ReportInput, known: Mapping[Group, Diagnostics]) -> Iterator[Content]:
    """Say for each group what is beyond chance, or that nothing is."""
    said: dict[str, list[str]] = {}
    for group, found in known.items():
        words = _beyond_chance(found, report.fits[group].residual_trend)
        said.setdefault(words, []).append(str(group))
    for words, groups in said.items():
        yield element("b", f"{joined(groups)}: "), typeset(words)


def _beyond_chance(found: Diagnostics, tests: Mapping[str, float]) -> str:
    beyond = [
        finding.words
        for finding in found.findings
        if finding.clear and finding.name.startswith((findings.HYSTERESIS, "drift"))
    ]
    beyond += [trend.words for trend in found.trends if not trend.level]
    beyond += [
        f"residuals keep a trend along {QUANTITIES[axis].words} of {abs(z):.1f} standard errors"
        for axis, z in tests.items()
        if abs(z) > LARGE_TREND
    ]
    if not beyond:
        beyond = ["the residuals are level, and neither hysteresis nor drift is beyond chance"]
    return "; ".join(beyond) + "."


def _trends(found: Diagnostics) -> Iterator[str]:
    return (trend.words for trend in found.trends)


def _numbers(known: dict[Group, Diagnostics]) -> Content:
    columns = [
        (name, title)
        for name, title in _COLUMNS
        if any(found.finding(name) is not None for found in known.values())
    ]
    if not columns:
        return None
    rows = [
        (str(group), *(_cell(found.finding(name)) for name, _ in columns))
        for group, found in known.items()
    ]
    return table(
        "Hysteresis and drift of the coefficient, with 95 % intervals. A star marks what chance "
        "would give less than 3 times in 1000. Runs are dated by the day, so their number within "
        "the pack stands for time.",
        ("Material (state)", *(title for _, title in columns)),
        rows,
    )


def _cell(found: Finding | None) -> str:
    if found is None:
        return NO_NUMBER
    value, low, high, u = (100.0 * part for part in (found.value, found.low, found.high, found.u))
    star = "*" if found.clear else ""
    return f"{star}{rounded(value, u)} ({interval(low, high, u)})"
