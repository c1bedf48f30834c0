"""Blocks on a comparison: one look at it, cold and hot, the traits, and what cancels."""

from __future__ import annotations

from collections.abc import Sequence

from rigdata.comparison.ratios import Ratio, calibration_said
from rigdata.comparison.standings import standings
from rigdata.comparison.trait_differences import TraitDifference
from rigdata.figures.comparison import comparison
from rigdata.report.blocks import figure, items, kept, table
from rigdata.report.html import Content
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    NO_NUMBER,
    interval,
    joined,
    rounded,
    significant,
    typeset,
    with_u,
)

_TIMES = "\N{MULTIPLICATION SIGN} "


def one_look(report: ReportInput, materials: Sequence[Ratio], states: Sequence[Ratio]) -> Content:
    """Return a figure for each material: how it stands against the baseline."""
    found = []
    drawn = [r for r in materials if r.group in report.fits and r.against in report.fits]
    for i, name in enumerate(dict.fromkeys(ratio.group.material for ratio in drawn)):
        own = [ratio for ratio in drawn if ratio.group.material == name]
        both = (name, own[0].against.material)
        worn = [ratio for ratio in states if ratio.group.material in both]
        traits = of_pair(report, own[0])
        told = [typeset(words) for words in (*(r.words for r in own), *(t.words for t in traits))]
        found.append(
            figure(
                comparison(own, worn, traits, report.fits, report.marks),
                name=f"comparison-{i + 1}",
                title=f"{both[0]} against {both[1]} at one look",
                caption="Left, the coefficients of packs in one state; right, how much more the "
                "one grips than the other, state by state, and the traits of the packs on the "
                "left.",
                description="Coefficients over slip speed, ratios in percent with their bands, "
                f"and traits of both materials with intervals. {'; '.join(told)}.",
            )
        )
    return found


def of_pair(report: ReportInput, ratio: Ratio) -> list[TraitDifference]:
    """Return the traits of the two groups of a ratio."""
    pair = (ratio.group, ratio.against)
    return [one for one in report.traits if (one.group, one.against) == pair]


def standings_table(ratios: Sequence[Ratio]) -> Content:
    """Return how each group stands against the other cold, as quoted, and hot."""
    rows = [
        (_pair(ratio), typeset(one.at), one.grips, one.bounds, one.verdict)
        for ratio in ratios
        for one in standings(ratio)
    ]
    return table(
        "Cold and hot, at the slip speed and pressure quoted. The bands hold at all temperatures "
        "and speeds at once.",
        ("Compared", "Plates at", "Grips", "95 % band", "Verdict"),
        rows,
        text=(1, 2, 3, 4),
    )


def calibration_items(ratios: Sequence[Ratio]) -> Content:
    """Say what the rig's calibration adds to the variance of each ratio."""
    told = calibration_said(ratios).items()
    return items(typeset(f"{joined(names)}: {words}.") for words, names in told)


def traits_tables(report: ReportInput, ratios: Sequence[Ratio]) -> Content:
    """Return the traits of each pair, what parts them, and the verdicts."""
    number = sum(one.measured is not None for one in report.traits)
    found = []
    for ratio in ratios:
        traits = of_pair(report, ratio)
        if not traits:
            continue
        told = table(
            f"Traits of {ratio.group} and of {ratio.against}, each with its standard uncertainty; "
            "the difference is the first less the second, and for the spread of packs their "
            f"ratio. Verdicts allow for the {number} comparisons made together (Holm). The last "
            "column is what these tests find four times in five.",
            (
                "Trait",
                str(ratio.group),
                str(ratio.against),
                "Difference",
                "95 % interval",
                "Verdict",
                "Findable",
            ),
            [((_named(one),), *_cells(one)) for one in traits],
            text=(5,),
        )
        reasons = [typeset(one.words) + "." for one in traits if one.measured is None]
        found.append((told, items(reasons) if reasons else None))
    return found


def _pair(ratio: Ratio) -> Content:
    return kept(f"{ratio.group} over"), " ", kept(ratio.against)


def _named(one: TraitDifference) -> str:
    return one.trait if one.unit == "1" else f"{one.trait} [{one.unit}]"


def _cells(one: TraitDifference) -> tuple[str, ...]:
    found = one.measured
    if found is None:
        return (*[NO_NUMBER] * 4, one.verdict, NO_NUMBER)
    apart = found.difference
    return (
        with_u(found.group.value, found.group.u),
        with_u(found.against.value, found.against.u),
        f"{_TIMES if one.over else ''}{rounded(apart.value, apart.u)}",
        interval(apart.low, apart.high, apart.u),
        f"{one.verdict}: {one.meaning}" if one.meaning else one.verdict,
        significant(found.detectable, 2),
    )
