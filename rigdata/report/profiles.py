"""How far the parameters of the laws may move, in the report: limits, and what has none."""

from __future__ import annotations

from collections.abc import Iterator

from rigdata.figures.profiles import ProfilePanel, parameter_profiles
from rigdata.friction.laws.base import Law, LawParameter
from rigdata.friction.laws.registry import law
from rigdata.friction.outward import BOUND
from rigdata.friction.profiles import ParameterProfile
from rigdata.friction.results import FrictionFit
from rigdata.report.blocks import figure, kept, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, interval, plain, rounded

_MOST_PANELS = 12


def profile_blocks(report: ReportInput) -> list[Content]:
    """Show the limits of every parameter of the laws, and of those that set a law aside."""
    found = list(_shown(report))
    if not found:
        return []
    panels = [
        ProfilePanel(name, parameter, own)
        for name, _, parameter, own in found
        if own.at.size > 1 and (parameter.low > 0.0 or own.lopsided)
    ]
    panels.sort(key=lambda panel: not panel.profile.open)
    return [
        element("h3", "Limits of the parameters"),
        table(
            "Parameters with the 95 % limits within which they may move while all others are "
            "fitted again. The symmetric interval stands beside them where it differs by more "
            "than a tenth of its half width; laws set aside are given with what they leave open.",
            ("Material (state)", "Law", "Parameter", "Value", "95 % limits", "Symmetric"),
            [_row(*one) for one in found],
            text=(1, 2, 4),
            dense=True,
        ),
        _figure(panels[:_MOST_PANELS]) if panels else None,
    ]


def _shown(report: ReportInput) -> Iterator[tuple[str, str, LawParameter, ParameterProfile]]:
    """Return the group, the law, the parameter and its profile, for all that is to be shown."""
    resting = {f"{group}, static": fit for group, fit in report.static.items()}
    named = {str(group): fit for group, fit in report.ordered_fits.items()}
    for name, fit in (named | resting).items():
        for own in fit.profiles:
            if own.law == fit.law or own.open:
                form = _form(fit, own)
                parameter = form.parameters[form.names.index(own.name)]
                yield name, _law_words(fit, own), parameter, own


def _form(fit: FrictionFit, profile: ParameterProfile) -> Law:
    return fit.form if profile.law == fit.law else law(profile.law, fit.oil)


def _law_words(fit: FrictionFit, profile: ParameterProfile) -> str:
    if profile.law != fit.law:
        return f"{profile.law}, set aside"
    return f"{profile.law}, when fitted" if profile.name in fit.not_identified else profile.law


def _row(
    name: str, law_words: str, parameter: LawParameter, profile: ParameterProfile
) -> tuple[Content, ...]:
    unit = "" if parameter.unit == "1" else f" [{parameter.unit}]"
    value, half = profile.value, profile.half_width
    return (
        name,
        kept(law_words),
        kept(profile.name + unit),
        plain(value) if half is None or profile.lopsided else rounded(value, half / 2.0),
        _limits(profile, parameter),
        NO_NUMBER if half is None or not profile.lopsided else interval(value - half, value + half),
    )


def _limits(profile: ParameterProfile, parameter: LawParameter) -> str:
    """Return ``0.012 to 0.034``, or in words which side is open and up to what bound."""
    low, high, half = profile.low, profile.high, profile.half_width
    if low is not None and high is not None:
        return interval(low, high, None if profile.lopsided or half is None else half / 2.0)
    parts = [] if low is None else [f"above {plain(low)}"]
    parts += [] if high is None else [f"below {plain(high)}"]
    for side, way, opened, bound in (
        ("lower", "down", profile.low_open, parameter.low),
        ("upper", "up", profile.high_open, parameter.high),
    ):
        if opened:
            end = f" {way} to its bound {bound:g}" if opened == BOUND else ""
            parts.append(f"no {side} limit{end}")
    return ", ".join(parts)


def _figure(panels: list[ProfilePanel]) -> Content:
    """Return the figure of the parameters in which a law is not linear."""
    told = [_told(panel) for panel in panels]
    return figure(
        parameter_profiles(panels),
        name="parameter-profiles",
        title="How far a parameter may move before the points speak against it",
        caption="The deviance with the parameter held and all others fitted again, for the "
        "parameters in which a law is not linear. Where the line leaves the dashed parabola the "
        "interval is lopsided; where it stays below 1 there is no limit.",
        description=f"Deviance against the parameter. {'; '.join(told)}.",
    )


def _told(panel: ProfilePanel) -> str:
    unit = "" if panel.parameter.unit == "1" else f" {panel.parameter.unit}"
    limits = _limits(panel.profile, panel.parameter)
    return f"{panel.title}, {panel.profile.name} of the {panel.profile.law} law{unit}: {limits}"
