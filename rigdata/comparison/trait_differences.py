"""Materials and states by their traits: higher, lower, or no difference shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from rigdata.bedding.results import TimeToBed
from rigdata.comparison.pair_fits import PairFit
from rigdata.comparison.trait_kinds import Measured, TraitKind, TraitPair
from rigdata.comparison.trait_measures import TRAITS
from rigdata.comparison.verdict import HIGHER, LEVEL, LOWER, holm
from rigdata.errors import ComparisonError, FitError
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.digits import decimals_for

NOT_SHOWN, NOT_COMPARED = "no difference shown", "not compared"


@dataclass(frozen=True)
class TraitDifference:
    """One trait of a group against that of another.

    Attributes
    ----------
    group, against : Group
        The first is told relative to the second.
    trait, unit, label : str
        Name and unit, and both in short.
    neutral : float
        The difference between equals: 0, or 1 where the trait is compared as a ratio.
    measured : Measured or None
        The trait of both and their difference; None where it was not compared.  Its
        intervals are 95 % each, not corrected for several comparisons.
    p : float
        Of equal traits, by Holm over all traits and pairs compared together.
    verdict : str
        ``higher``, ``lower``, ``no difference shown`` or ``not compared``.
    meaning : str
        What a difference shown means for the first group; empty for none.
    words : str
        The same in one sentence, with what it means or why there is none.
    """

    group: Group
    against: Group
    trait: str
    unit: str
    label: str
    neutral: float
    measured: Measured | None
    p: float
    verdict: str
    meaning: str
    words: str

    @property
    def over(self) -> bool:
        """Whether the trait is compared as a ratio."""
        return self.neutral == 1.0

    @property
    def clear_alone(self) -> bool:
        """Whether the interval of this comparison alone leaves out equal traits."""
        found = self.measured
        return found is not None and not (
            found.difference.low <= self.neutral <= found.difference.high
        )


def compare_traits(
    pairs: Sequence[PairFit],
    points: FrictionPoints,
    static: Mapping[Group, FrictionFit],
    bedding: Mapping[Group, TimeToBed] | None = None,
    kinds: Sequence[TraitKind] = TRAITS,
) -> tuple[TraitDifference, ...]:
    """Compare the traits of each pair of groups.

    Parameters
    ----------
    pairs : sequence of PairFit
        From `fit_pairs`.
    points : FrictionPoints
        All points of the campaign.
    static : mapping of Group to FrictionFit
        Laws of breakaway; empty where it was not tested.
    bedding : mapping of Group to TimeToBed, optional
        What packs took to bed in.
    kinds : sequence of TraitKind
        The traits; all by default.

    Returns
    -------
    tuple of TraitDifference
        Every trait of every pair, in their order.
    """
    found = [
        _measured(kind, TraitPair(fitted, points, static, bedding or {}))
        for fitted in pairs
        for kind in kinds
    ]
    compared = [i for i, one in enumerate(found) if one.measured is not None]
    corrected = holm([found[i].p for i in compared]).tolist()
    for i, p in zip(compared, corrected, strict=True):
        found[i] = _judged(replace(found[i], p=p), kinds[i % len(kinds)])
    return tuple(found)


def _measured(kind: TraitKind, pair: TraitPair) -> TraitDifference:
    """Return a trait of a pair, its verdict not yet corrected for the others."""
    group, against = pair.groups
    blank = TraitDifference(
        group,
        against,
        kind.name,
        kind.unit,
        kind.label,
        kind.neutral,
        None,
        1.0,
        NOT_COMPARED,
        "",
        "",
    )
    try:
        measured = kind.measure(pair)
    except (ComparisonError, FitError) as fault:
        words = f"{kind.name} of {group} is not compared with that of {against}: {fault.what}"
        return replace(blank, words=words)
    return replace(blank, measured=measured, p=measured.p)


def _judged(one: TraitDifference, kind: TraitKind) -> TraitDifference:
    assert one.measured is not None
    verdict, meaning = NOT_SHOWN, ""
    if one.p < LEVEL:
        more = one.measured.difference.value > one.neutral
        verdict, meaning = (HIGHER, kind.more) if more else (LOWER, kind.less)
    told = replace(one, verdict=verdict, meaning=meaning)
    return replace(told, words=_words(told, one.measured))


def _words(one: TraitDifference, found: Measured) -> str:
    unit = "" if one.unit == "1" else f" {one.unit}"
    u = min(found.group.u, found.against.u)
    both = f"{_to_digits(found.group.value, u)} against {_to_digits(found.against.value, u)}{unit}"
    apart = found.difference
    value, low, high = (_to_digits(v, apart.u) for v in (apart.value, apart.low, apart.high))
    size = f"{'ratio' if one.over else 'difference'} {value} (95 % interval {low} to {high})"
    if one.verdict != NOT_SHOWN:
        return (
            f"{one.trait} of {one.group} is {one.verdict} than that of {one.against} "
            f"({one.meaning}): {both}, {size}"
        )
    if one.clear_alone:
        side = HIGHER if apart.value > one.neutral else LOWER
        return (
            f"{one.trait} of {one.group} seems {side} than that of {one.against}: {both}, "
            f"{size}, but among the comparisons made together this is not certain"
        )
    shown = (
        f"{'a factor' if one.over else 'a difference'} of {_to_digits(found.detectable, apart.u)}"
    )
    return (
        f"no difference in {one.trait} is shown between {one.group} and {one.against}: {both}, "
        f"{size}; {shown} would have been shown four times in five"
    )


def _to_digits(value: float, u: float) -> str:
    """Return a number with two digits of its standard uncertainty, and no negative nought."""
    text = f"{value:.{decimals_for(u)}f}"
    return text if float(text) else text.replace("-", "")
