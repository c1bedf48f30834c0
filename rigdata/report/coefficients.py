"""Sections on the fitted coefficient: against slip speed, temperature and pressure."""

from __future__ import annotations

import numpy as np

from rigdata.figures.curves import condition_curve, speed_curve
from rigdata.friction.conditions import Conditions
from rigdata.friction.laws.registry import law
from rigdata.friction.results import FrictionFit
from rigdata.quantities import QUANTITIES
from rigdata.report.blocks import Section, figure, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, joined, plain, rounded, typeset

_AXIS_WORDS = {
    "slip_speed_m_s": ("slip speed", "m/s"),
    "temperature_c": ("plate temperature", "\N{DEGREE SIGN}C"),
    "pressure_mpa": ("face pressure", "MPa"),
}
_ROWS = 6


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
                "along the law; their bars are one standard uncertainty."
            ),
            figure(
                speed_curve(report.points, report.ordered_fits, at, report.marks),
                name="speed-curve",
                title="Friction coefficient against slip speed",
                caption=caption,
                description=_description(report, "slip_speed_m_s"),
            ),
            _curve_table(report, "slip_speed_m_s"),
            _parameters(report),
        ),
    )


def surroundings_section(report: ReportInput) -> Section | None:
    """Show the coefficient against plate temperature and face pressure."""
    if not report.fits:
        return None
    at = report.campaign.reference
    parts: list[Content] = []
    for coordinate, rest in (
        ("temperature_c", f"{plain(at.slip_speed_m_s)} m/s and {plain(at.pressure_mpa)} MPa"),
        (
            "pressure_mpa",
            f"{plain(at.slip_speed_m_s)} m/s and {plain(at.temperature_c)} degC",
        ),
    ):
        words, _ = _AXIS_WORDS[coordinate]
        fading = "a line that falls to the right is fade" if coordinate == "temperature_c" else ""
        caption = f"At {rest}; " + (
            fading or "a level line means that the coefficient does not depend on the load"
        )
        parts += [
            element("h3", words[0].upper() + words[1:]),
            figure(
                condition_curve(report.points, report.ordered_fits, at, report.marks, coordinate),
                name=coordinate.split("_")[0] + "-curve",
                title=f"Friction coefficient against {words}",
                caption=typeset(caption) + ".",
                description=_description(report, coordinate),
            ),
            _curve_table(report, coordinate),
        ]
    return Section("surroundings", "Coefficient against temperature and pressure", tuple(parts))


def _places(report: ReportInput, coordinate: str) -> list[float]:
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
        for x in _places(report, coordinate)
    ]
    return table(
        "Coefficients with half the width of their 95 % intervals: for the mean and, in "
        "brackets, for one more pack. A star marks a condition outside the envelope.",
        (f"{words[0].upper() + words[1:]} [{unit}]", *(str(g) for g in report.ordered_fits)),
        rows,
    )


def _cell(fit: FrictionFit, condition: Conditions) -> str:
    here = fit.predict(condition)
    mu = float(here.mu[0])
    half = float(here.mean_high[0]) - mu
    more = float(here.next_pack_high[0]) - mu
    star = "" if here.inside[0] else "*"
    return (
        f"{star}{rounded(mu, half)} \N{PLUS-MINUS SIGN} {rounded(half, half)} "
        f"(\N{PLUS-MINUS SIGN} {rounded(more, half)})"
    )


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


def _parameters(report: ReportInput) -> Content:
    """The law of each group, its parameters and their uncertainty."""
    rows = []
    for group, fit in report.ordered_fits.items():
        u = np.sqrt(np.diag(fit.covariance))
        for parameter, value, spread in zip(
            law(fit.law).parameters, fit.theta.tolist(), u.tolist(), strict=True
        ):
            held = parameter.name in fit.not_identified
            rows.append(
                (
                    parameter.name,
                    str(group),
                    plain(value) if held else rounded(value, spread),
                    "held: the tests cannot show it" if held else rounded(spread, spread),
                    parameter.unit if parameter.unit != "1" else NO_NUMBER,
                    parameter.meaning,
                )
            )
    formulas = {fit.law: law(fit.law).formula for fit in report.ordered_fits.values()}
    caption = "Parameters of the laws: " + joined([f"{k}, {f}" for k, f in formulas.items()])
    return table(
        caption + ".",
        ("Parameter", "Material (state)", "Value", "Standard uncertainty", "Unit", "Meaning"),
        rows,
        text=(1, 4, 5),
    )


def envelope_words(fit: FrictionFit) -> str:
    """Return the tested ranges in words."""
    ranges = [
        f"{plain(float(low))} to {plain(float(high))} {unit}"
        for low, high, (_, unit) in zip(
            fit.envelope.low, fit.envelope.high, _AXIS_WORDS.values(), strict=True
        )
    ]
    return typeset(", ".join(ranges))
