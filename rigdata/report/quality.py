"""The section on how well the laws fit, and why they were chosen."""

from __future__ import annotations

import numpy as np

from rigdata.figures.quality import pulls
from rigdata.friction.diagnostics.diagnose import spread
from rigdata.friction.results import FrictionFit, LawScore
from rigdata.report.blocks import Section, figure, items, kept, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import NO_NUMBER, counted, joined, percent, plain, signed, significant

_LARGE_PULL = 2.0
_LARGE_TREND = 3.0
_MOST_PULLS = 10
_AXIS_WORDS = {
    "slip_speed_m_s": "slip speed",
    "temperature_c": "plate temperature",
    "pressure_mpa": "face pressure",
}


def quality_section(report: ReportInput) -> Section | None:
    """Say how well the laws fit, why they were chosen, and which sources were pulled."""
    if not report.fits:
        return None
    parts: list[Content] = [
        items(_fit_words(fit) for fit in report.ordered_fits.values()),
        _quality_table(report),
        element("h3", "Why these laws"),
        _ranking_table(report),
        element("h3", "Pulls"),
        _pulls(report),
    ]
    return Section("quality", "Fit quality", tuple(parts))


def _fit_words(fit: FrictionFit) -> Content:
    found = spread(fit)
    reading = f" {found.words[0].upper()}{found.words[1:]}." if found is not None else ""
    held = (
        f" Held, because the tests cannot show them: {joined(list(fit.not_identified))}."
        if fit.not_identified
        else ""
    )
    return (
        element("b", f"{fit.group}: "),
        f"law {fit.law} over {counted(fit.n_points, 'point')}, {counted(fit.n_runs, 'run')} and "
        f"{counted(fit.n_packs, 'pack')}.{reading} {_adequacy_words(fit)}{held}",
    )


def _adequacy_words(fit: FrictionFit) -> str:
    """Say whether the law, or the best of all formulas, misses the points."""
    found = fit.adequacy
    if found is None:
        return f"Residuals show {_trend_words(fit)}."
    if not found.beyond_chance:
        return "No departure from the law beyond chance."
    if not found.flagged:
        return f"A departure from the law beyond chance, but a small one: {found.words}."
    if fit.law == found.law:
        return f"The law misses the points by more than chance: {found.words}."
    return f"Every formula misses the points. The best is the {found.law} law: {found.words}."


def _trend_words(fit: FrictionFit) -> str:
    found = [
        f"a trend along {_AXIS_WORDS[axis]} of {significant(abs(z), 2)} standard errors"
        for axis, z in fit.residual_trend.items()
        if abs(z) > _LARGE_TREND
    ]
    return joined(found) or "no trend along any axis"


def _quality_table(report: ReportInput) -> Content:
    rows = []
    for group, fit in report.ordered_fits.items():
        trends = [fit.residual_trend.get(axis, float("nan")) for axis in _AXIS_WORDS]
        rows.append(
            (
                str(group),
                percent(float(np.std(fit.residual))),
                significant(fit.chi2_measurement, 2),
                significant(fit.chi2_reduced, 2),
                *(signed(z) for z in trends),
                str(sum(abs(pull) > _LARGE_PULL for pull in fit.pulls.values())),
            )
        )
    return table(
        "Fit quality. Reduced chi-square is with measurement uncertainty alone and with scatter; "
        "trends left in the residuals are in standard errors, and beyond 3 the law misses "
        "something.",
        (
            "Material (state)",
            "Spread about the law",
            "Chi-square, measured",
            "Chi-square, with scatter",
            "Trend, slip speed",
            "Trend, temperature",
            "Trend, pressure",
            "Pulls over 2",
        ),
        rows,
    )


def _ranking_table(report: ReportInput) -> Content:
    rows: list[tuple[Content, ...]] = []
    resting = {f"{group}, static": fit for group, fit in report.static.items()}
    for group, fit in [*report.ordered_fits.items(), *resting.items()]:
        ranked = sorted(fit.ranking, key=_place)
        lowest = min((s.aicc for s in ranked if s.aicc is not None), default=0.0)
        rows += [(str(group), *_score_row(score, lowest)) for score in ranked]
    return table(
        "Laws compared by predicting whole packs or runs that were left out of the fit. The loss "
        "is in log density against the best law; a loss within its standard error does not tell "
        "two laws apart, and then the simpler one is taken.",
        (
            "Material (state)",
            "Law",
            "Parameters",
            "Loss",
            "Rise of AICc",
            "Why it was or was not taken",
        ),
        rows,
        text=(1, 5),
    )


def _place(score: LawScore) -> tuple[bool, float]:
    loss = score.left_out_loss
    return not score.chosen, float("inf") if loss is None else loss


def _score_row(score: LawScore, lowest_aicc: float) -> tuple[Content, ...]:
    loss, u = score.left_out_loss, score.left_out_loss_u
    rise = None if score.aicc is None else score.aicc - lowest_aicc
    told = NO_NUMBER
    if loss is not None and u is not None:
        told = f"{significant(loss, 2)} \N{PLUS-MINUS SIGN} {significant(u, 2)}" if loss else "best"
    verdict = score.reason or ("taken" if score.chosen else score.remark)
    if score.remark and score.remark not in verdict:
        verdict += f" ({score.remark})"
    return (
        kept(score.law),
        str(score.n_parameters or NO_NUMBER),
        told,
        NO_NUMBER if rise is None else f"{rise:.1f}",
        verdict,
    )


def _pulls(report: ReportInput) -> Content:
    labels = {source.id: source.label for source in report.points.sources}
    values = [
        (group, source, pull)
        for group, fit in report.ordered_fits.items()
        for source, pull in fit.pulls.items()
    ]
    if not values:
        return paragraph("No two points share a source, so there is nothing to pull.")
    large = [value for value in values if abs(value[2]) > _LARGE_PULL]
    told = (
        "No fit pulled a source by more than 2 of its standard deviations."
        if not large
        else f"{counted(len(large), 'pull')} of {len(values)} beyond 2 standard deviations: look "
        "at these records, zeros and radii before you trust the last digit."
    )
    ranked = sorted(values, key=lambda value: -abs(value[2]))
    rows = [
        (source, labels.get(source, ""), kept(group), signed(pull))
        for group, source, pull in ranked[: max(_MOST_PULLS, len(large))]
    ]
    return (
        paragraph(told),
        figure(
            pulls(values, report.marks),
            name="pulls-dots",
            title="Pulls of the shared sources",
            caption="Dots between the dashed lines are as they should be; one far outside points "
            "at a record, a zero or a radius that is wrong.",
            description=f"Sorted dot plot of the largest of {plain(len(values))} pulls. {told}",
        ),
        table(
            "The largest pulls: by how many of its standard deviations the fit moved each source.",
            ("Source", "What it is", "Fit", "Pull"),
            rows,
            text=(1, 2),
        ),
    )
