"""Comparisons as short tables: cold and hot, traits, and what calibration leaves."""

from __future__ import annotations

from collections.abc import Sequence

from rigdata.cli.terminal import aligned, paragraph, rounded
from rigdata.comparison.ratios import Ratio, calibration_said
from rigdata.comparison.standings import standings
from rigdata.comparison.trait_differences import NOT_SHOWN, TraitDifference

_UNCERTAIN = "unsure"  # clear on its own, and not among all that were compared


def standings_table(ratios: Sequence[Ratio]) -> str:
    """Return how each group stands against the other cold, as quoted, and hot."""
    rows: list[Sequence[str]] = []
    for ratio in ratios:
        rows.append(f"{ratio.group} against {ratio.against}")
        rows += [[f"  {s.at}", s.grips, s.bounds, s.verdict] for s in standings(ratio)]
    return aligned(["at plates of", "grips", "95 % band", "verdict"], rows)


def traits_table(traits: Sequence[TraitDifference]) -> str:
    """Return the traits of each pair, what parts them, and the verdicts."""
    rows: list[Sequence[str]] = []
    before = None
    for one in traits:
        if (one.group, one.against) != before:
            before = (one.group, one.against)
            rows.append(f"{one.group} (A) against {one.against} (B)")
        rows.append([one.label, *_cells(one)])
    headers = ["trait", "A", "B", "A - B", "low", "high", "shown", "finds"]
    compared = sum(one.measured is not None for one in traits)
    told = (
        "Change of mu per 100 K and for doubled pressure (p); low to high is the 95 % interval of "
        "A - B, or of A / B for the spread of packs. What is shown allows for the "
        f"{compared} comparisons made together (Holm); 'finds' is the difference, or the factor, "
        "that such tests find four times in five."
    )
    reasons = [paragraph(f"- {one.words}.", indent="  ") for one in traits if one.measured is None]
    return "\n".join([aligned(headers, rows), paragraph(told), *reasons])


def calibration_lines(ratios: Sequence[Ratio]) -> str:
    """Return in a line each what the rig's calibration adds to the variance of the ratios.

    Ratios of which the same is said stand together.
    """
    told = calibration_said(ratios)
    if len(told) == 1:
        (words,) = told
        return paragraph(f"- {words}.".replace("- t", "- T", 1), indent="  ")
    return "\n".join(
        paragraph(f"- {'; '.join(names)}: {words}.", indent="  ") for words, names in told.items()
    )


def _cells(one: TraitDifference) -> list[str]:
    found = one.measured
    if found is None:
        return ["-"] * 7
    apart, least = found.difference, found.detectable
    shown = one.verdict
    if shown == NOT_SHOWN:
        shown = _UNCERTAIN if one.clear_alone else "none"
    return [
        rounded(found.group.value, found.group.u),
        rounded(found.against.value, found.against.u),
        *(rounded(value, apart.u) for value in (apart.value, apart.low, apart.high)),
        shown,
        rounded(least, least),
    ]
