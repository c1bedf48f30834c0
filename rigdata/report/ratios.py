"""Sections on comparisons: materials against the baseline, worn against new."""

from __future__ import annotations

from collections.abc import Sequence

from rigdata.comparison.ratios import Ratio
from rigdata.figures.ratio import along_speed, ratio_curve
from rigdata.report.blocks import Section, figure, kept, paragraph, table
from rigdata.report.comparison import (
    calibration_items,
    one_look,
    standings_table,
    traits_tables,
)
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import interval, percent, plain, rounded, typeset

_SIGNS = {
    "higher": "\N{BLACK UP-POINTING TRIANGLE} higher",
    "lower": "\N{BLACK DOWN-POINTING TRIANGLE} lower",
    "equivalent": "= equivalent",
    "not resolved": "? not resolved",
}


def verdict_blocks(report: ReportInput) -> list[Content]:
    """Return each comparison as its verdict and its sentence, materials first."""
    return [_verdict(ratio) for ratio in (*of_materials(report), *of_states(report))]


def _verdict(ratio: Ratio) -> Content:
    warnings = [paragraph(typeset(notice.what) + ".", class_="note") for notice in ratio.notices]
    return element(
        "div",
        element(
            "p",
            element("span", _SIGNS.get(ratio.verdict, ratio.verdict), class_="word"),
            typeset(ratio.words) + ".",
        ),
        warnings,
        class_="verdict",
    )


def of_materials(report: ReportInput) -> list[Ratio]:
    """Return the comparisons with the baseline, in the order of the marks."""
    found = [r for r in report.ratios if r.group.material != r.against.material]
    order = list(report.marks)
    return sorted(found, key=lambda ratio: order.index(ratio.group))


def of_states(report: ReportInput) -> list[Ratio]:
    """Return the comparisons of one material's states, in the order of the marks."""
    found = [r for r in report.ratios if r.group.material == r.against.material]
    order = list(report.marks)
    return sorted(found, key=lambda ratio: order.index(ratio.group))


def materials_section(report: ReportInput) -> Section | None:
    """Show the ratios of materials to the baseline over slip speed."""
    ratios = of_materials(report)
    if not ratios:
        return None
    baseline = report.campaign.baseline
    return Section(
        "ratios",
        "Materials compared",
        (
            one_look(report, ratios, of_states(report)),
            standings_table(ratios),
            traits_tables(report, ratios),
            paragraph(
                "Materials measured with the same records share their errors: a calibration that "
                "is off moves both coefficients and cancels in their ratio. What remains is how "
                "much packs and runs differ."
            ),
            calibration_items(ratios),
            figure(
                ratio_curve(ratios, report.marks, against=baseline),
                name="ratio-materials",
                title=f"Ratio to {baseline} in the same state",
                caption="Where a band lies clear of 1, the materials differ; where it lies inside "
                "the hatched margin, they are equivalent.",
                description=_description(ratios),
            ),
            _quoted_table(ratios),
            _speed_table(ratios),
        ),
    )


def states_section(report: ReportInput) -> Section | None:
    """Show the ratios of worn to new over slip speed."""
    ratios = of_states(report)
    if not ratios:
        return None
    return Section(
        "worn",
        "Worn against new",
        (
            figure(
                ratio_curve(ratios, report.marks, against="the new state"),
                name="ratio-states",
                title="Ratio to the new state against slip speed",
                caption="A band below 1 is grip lost in service, and one above 1 is grip gained.",
                description=_description(ratios),
            ),
            standings_table(ratios),
            traits_tables(report, ratios),
            calibration_items(ratios),
            _quoted_table(ratios),
            _speed_table(ratios),
        ),
    )


def _description(ratios: Sequence[Ratio]) -> str:
    told = [typeset(ratio.words) for ratio in ratios]
    return f"Ratio of friction coefficients against slip speed. {'; '.join(told)}."


def _quoted_table(ratios: Sequence[Ratio]) -> Content:
    rows = []
    for ratio in ratios:
        value, u = float(ratio.ratio[0]), float(ratio.u_ratio[0])
        rows.append(
            (
                (kept(f"{ratio.group} over"), " ", kept(ratio.against)),
                rounded(value, u),
                interval(float(ratio.low[0]), float(ratio.high[0]), u),
                rounded(u, u),
                rounded(float(ratio.u_unshared[0]), u),
                percent(float(ratio.cancelled[0])),
                _probability(ratio.p_different),
                _probability(ratio.p_equivalent),
                ratio.verdict,
            )
        )
    return table(
        "Ratios at the quoted condition. The first probability is of a ratio this far from 1 "
        "between equals, the second of a ratio this close to 1 between materials that differ by "
        f"{percent(ratios[0].margin)}; both are corrected for the number of comparisons (Holm).",
        (
            "Ratio",
            "Value",
            "95 % interval",
            "Standard uncertainty",
            "if nothing cancelled",
            "Variance that cancels",
            "p, if equal",
            "p, if different",
            "Verdict",
        ),
        rows,
        text=(8,),
    )


def _probability(p: float) -> str:
    return "< 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"


def _speed_table(ratios: Sequence[Ratio]) -> Content:
    rows = []
    for ratio in ratios:
        curve = along_speed(ratio)
        for i, speed in enumerate(curve.slip_speed_m_s.tolist()):
            low, high = float(curve.low[i]), float(curve.high[i])
            rows.append(
                (
                    (kept(f"{ratio.group} over"), " ", kept(ratio.against)),
                    plain(speed),
                    rounded(float(curve.ratio[i]), (high - low) / 4.0),
                    interval(low, high),
                )
            )
    return table(
        "Ratios over slip speed at the quoted temperature and pressure.",
        ("Ratio", "Slip speed [m/s]", "Value", "95 % band"),
        rows,
    )
