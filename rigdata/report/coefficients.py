"""Sections on the fitted coefficient: against slip speed, temperature and pressure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rigdata.figures.curves import condition_curve, speed_curve
from rigdata.friction.conditions import Conditions, shown_axes
from rigdata.friction.design import conditions_of
from rigdata.friction.laws.base import Law
from rigdata.friction.results import FrictionFit, fitted_points
from rigdata.friction.slopes import Change, fade, pressure_effect
from rigdata.quantities import QUANTITIES
from rigdata.report.blocks import Section, figure, items, kept, paragraph, table
from rigdata.report.html import Content, Element, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    NO_NUMBER,
    interval,
    joined,
    plain,
    rounded,
    typeset,
    with_u,
)
from rigdata.report.profiles import profile_blocks

_AXIS_WORDS = {
    "slip_speed_m_s": ("slip speed", "m/s"),
    "temperature_c": ("plate temperature", "\N{DEGREE SIGN}C"),
    "pressure_mpa": ("face pressure", "MPa"),
}
_ROWS = 7


def speed_section(report: ReportInput) -> Section | None:
    """Show the coefficient against slip speed, with points and both intervals."""
    if not report.fits:
        return None
    at = report.campaign.reference
    caption = (
        "The line is the fitted law; where two bands lie apart the means of the materials differ, "
        "and where the dotted limits lie apart even single packs do."
        if len(report.fits) > 1
        else "The line is the fitted law, the band holds the mean of all packs and the dotted "
        "limits the next pack."
    )
    return Section(
        "speed",
        "Coefficient against slip speed",
        (
            paragraph(
                typeset(f"At {plain(at.temperature_c)} degC and {plain(at.pressure_mpa)} MPa. ")
                + "Points measured at another temperature or pressure are moved to this condition "
                "along the law; their bars are one standard uncertainty. From the slowest to the "
                "fastest slip tested, the coefficient changes by:"
            ),
            items(_change(fit, "slip_speed_m_s") for fit in report.ordered_fits.values()),
            figure(
                speed_curve(report.points, report.ordered_fits, at, report.marks),
                name="speed-curve",
                title="Friction coefficient against slip speed",
                caption=caption,
                description=_description(report, "slip_speed_m_s"),
            ),
            _curve_table(report, "slip_speed_m_s"),
            _parameters(report),
            _held(report),
            profile_blocks(report),
        ),
    )


def surroundings_section(report: ReportInput) -> Section | None:
    """Show the coefficient against plate temperature and face pressure."""
    if not report.fits:
        return None
    at = report.campaign.reference
    speed = f"{plain(at.slip_speed_m_s)} m/s"
    temperature, pressure = f"{plain(at.temperature_c)} degC", f"{plain(at.pressure_mpa)} MPa"
    return Section(
        "surroundings",
        "Coefficient against temperature and pressure",
        (
            _effects(report),
            _along(
                report,
                "temperature_c",
                f"At {speed} and {pressure}; a line that falls to the right is fade.",
            ),
            _along(
                report,
                "pressure_mpa",
                f"At {speed} and {temperature}; a level line means that the coefficient does not "
                "depend on the load.",
            ),
        ),
    )


def _effects(report: ReportInput) -> Content:
    """Fade and the effect of pressure as one number each, with their intervals."""
    rows = []
    for group, fit in report.ordered_fits.items():
        rows.append((str(group), *_effect_cells(fade(fit)), *_effect_cells(pressure_effect(fit))))
    if not any(cell != NO_NUMBER for row in rows for cell in row[1:]):
        return None
    return table(
        "Change of the coefficient per 100 K and per doubling of the face pressure, with 95 % "
        "intervals: the mean over the tested range, the others at the reference.",
        (
            "Material (state)",
            "Per 100 K [%]",
            "95 % interval [%]",
            typeset("Tested [degC]"),
            "Per doubling of pressure [%]",
            "95 % interval [%]",
            "Tested [MPa]",
        ),
        rows,
    )


def _effect_cells(change: Change | None) -> tuple[str, str, str]:
    if change is None:
        return NO_NUMBER, NO_NUMBER, NO_NUMBER
    value, low, high, u = (
        100.0 * part for part in (change.value, change.low, change.high, change.u)
    )
    tested = f"{plain(change.start)} to {plain(change.end)}"
    return rounded(value, u), interval(low, high, u), tested


def _along(report: ReportInput, coordinate: str, caption: str) -> Content:
    """Return heading, figure and numbers for one coordinate, where it was varied."""
    words, _ = _AXIS_WORDS[coordinate]
    heading = element("h3", words[0].upper() + words[1:])
    varied = [fit for fit in report.ordered_fits.values() if coordinate in _shown(report, fit)]
    if not varied:
        return heading, paragraph(f"The {words} was not varied enough to say anything about it.")
    return (
        heading,
        items(_change(fit, coordinate) for fit in varied),
        figure(
            condition_curve(
                report.points,
                report.ordered_fits,
                report.campaign.reference,
                report.marks,
                coordinate,
            ),
            name=coordinate.split("_")[0] + "-curve",
            title=f"Friction coefficient against {words}",
            caption=typeset(caption),
            description=_description(report, coordinate),
        ),
        _curve_table(report, coordinate),
    )


def _shown(report: ReportInput, fit: FrictionFit) -> frozenset[str]:
    """Return the coordinates that the points of a fit vary enough to show."""
    return shown_axes(conditions_of(fitted_points(report.points, fit)))


def _change(fit: FrictionFit, coordinate: str) -> Content:
    """Say by how much the law changes from one end of what was tested to the other."""
    _, unit = _AXIS_WORDS[coordinate]
    i = tuple(_AXIS_WORDS).index(coordinate)
    ends = (float(fit.envelope.low[i]), float(fit.envelope.high[i]))
    reference = {name: getattr(fit.reference, name) for name in _AXIS_WORDS}
    where = Conditions(**{**reference, coordinate: np.array(ends)})
    form = fit.form
    mu = form.mu(where, fit.theta, fit.reference)
    slope = form.jacobian(where, fit.theta, fit.reference) / mu[:, None]
    gradient = slope[1] - slope[0]  # of ln(mu at the end / mu at the start)
    ratio = float(mu[1] / mu[0])
    u = ratio * float(np.sqrt(gradient @ fit.covariance @ gradient))
    change = ("+" if ratio >= 1.0 else "") + with_u(100.0 * (ratio - 1.0), 100.0 * u)
    return (
        element("b", f"{fit.group}: "),
        typeset(f"{change} % from {plain(ends[0])} to {plain(ends[1])} {unit}."),
    )


def round_places(report: ReportInput, coordinate: str) -> list[float]:
    """Round places over the range that any group was tested in."""
    lows = [fit.envelope.low for fit in report.ordered_fits.values()]
    highs = [fit.envelope.high for fit in report.ordered_fits.values()]
    i = tuple(_AXIS_WORDS).index(coordinate)
    low = max(float(np.min([limits[i] for limits in lows])), 1e-6)
    high = float(np.max([limits[i] for limits in highs]))
    if coordinate == "slip_speed_m_s":
        decades = range(int(np.floor(np.log10(low))) - 1, int(np.ceil(np.log10(high))) + 1)
        steps = [m * 10.0**d for d in decades for m in (1, 2, 5)]
    else:
        unit = 10.0 ** np.floor(np.log10(max(high - low, 1e-3 * high)))
        step = next(
            (m * unit for m in (0.1, 0.2, 0.5, 1, 2) if (high - low) / (m * unit) <= _ROWS), unit
        )
        steps = list(step * np.arange(np.ceil(low / step), np.floor(high / step) + 1))
    inside = [float(f"{x:.6g}") for x in steps if low <= x * 1.001 and x <= high * 1.001]
    return inside or [float(f"{(low + high) / 2:.3g}")]


def _curve_table(report: ReportInput, coordinate: str) -> Content:
    """The key numbers of a curve: mu with both intervals at round places."""
    words, unit = _AXIS_WORDS[coordinate]
    reference = report.campaign.reference
    condition = {name: getattr(reference, name) for name in _AXIS_WORDS}
    rows = [
        (
            plain(x),
            *(
                _cell(fit, Conditions(**{**condition, coordinate: x}))
                for fit in report.ordered_fits.values()
            ),
        )
        for x in round_places(report, coordinate)
    ]
    return table(
        "Coefficients with half the width of their 95 % intervals: for the mean and, in "
        "brackets, for one more pack. A star marks a condition outside the envelope.",
        (f"{words[0].upper() + words[1:]} [{unit}]", *(kept(g) for g in report.ordered_fits)),
        rows,
    )


def _cell(fit: FrictionFit, condition: Conditions) -> str:
    here = fit.predict(condition)
    mu = float(here.mu[0])
    half = float(here.mean_high[0]) - mu
    more = float(here.next_pack_high[0]) - mu
    star = "" if here.inside[0] else "*"
    pack = f" (\N{PLUS-MINUS SIGN} {rounded(more, half)})" if np.isfinite(more) else ""
    return f"{star}{rounded(mu, half)} \N{PLUS-MINUS SIGN} {rounded(half, half)}{pack}"


def _description(report: ReportInput, coordinate: str) -> str:
    """Say in words how each law runs from one end of its tested range to the other."""
    words, unit = _AXIS_WORDS[coordinate]
    i = tuple(_AXIS_WORDS).index(coordinate)
    at = report.campaign.reference
    places = {name: getattr(at, name) for name in _AXIS_WORDS}
    told = []
    for group, fit in report.ordered_fits.items():
        low, high = float(fit.envelope.low[i]), float(fit.envelope.high[i])
        ends = fit.predict(Conditions(**{**places, coordinate: np.array([low, high])}))
        told.append(
            f"{group}: from {rounded(float(ends.mu[0]), float(ends.u_mu[0]))} at {plain(low)} "
            f"{unit} to {rounded(float(ends.mu[1]), float(ends.u_mu[1]))} at {plain(high)} {unit}"
        )
    return f"{QUANTITIES['mu'].words} against {words}. " + "; ".join(told) + "."


def _parameters(report: ReportInput) -> list[Element]:
    """The parameters of each law, group by group."""
    named: dict[str, list[FrictionFit]] = {}
    for fit in report.ordered_fits.values():
        named.setdefault(fit.law, []).append(fit)
    return [_law_table(fits[0].form, fits) for fits in named.values()]


def _held(report: ReportInput) -> Content:
    """Say why parameters were held, where any were."""
    told = [
        f"{joined(list(fit.not_identified))} of {fit.group}"
        for fit in report.ordered_fits.values()
        if fit.not_identified
    ]
    if not told:
        return None
    return paragraph(f"Held, because the tests cannot show them: {'; '.join(told)}.")


def _law_table(form: Law, fits: Sequence[FrictionFit]) -> Element:
    rows = [
        (
            parameter.name,
            parameter.meaning,
            parameter.unit if parameter.unit != "1" else NO_NUMBER,
            *(_parameter(fit, i) for fit in fits),
        )
        for i, parameter in enumerate(form.parameters)
        if parameter.name not in form.drawn
    ]
    bends = " Its bends stand for no mechanism and are not listed." if form.drawn else ""
    return table(
        f"The {form.name} law, {form.formula}. Its parameters with their standard uncertainties."
        + bends,
        ("Parameter", "Meaning", "Unit", *(kept(fit.group) for fit in fits)),
        rows,
        text=(1, 2),
    )


def _parameter(fit: FrictionFit, i: int) -> str:
    value, u = float(fit.theta[i]), float(np.sqrt(fit.covariance[i, i]))
    if fit.form.names[i] in fit.not_identified:
        return f"{plain(value)}, held"
    return with_u(value, u)


def envelope_words(fit: FrictionFit) -> str:
    """Return the tested ranges in words."""
    ranges = [
        f"{plain(float(low))} to {plain(float(high))} {unit}"
        for low, high, (_, unit) in zip(
            fit.envelope.low, fit.envelope.high, _AXIS_WORDS.values(), strict=True
        )
    ]
    return typeset(", ".join(ranges))
