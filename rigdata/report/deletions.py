"""The section on what rests on single packs and runs: how mu moves without each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rigdata.figures.deletions import deletions
from rigdata.friction.allowances import point_weights
from rigdata.friction.case_deletion import PACK, Deletion, largest
from rigdata.friction.conditions import ALL_AXES
from rigdata.friction.driving import APART
from rigdata.friction.results import FrictionFit, fitted_points
from rigdata.quantities import QUANTITIES
from rigdata.report.blocks import Section, figure, items, kept, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    NO_NUMBER,
    percent,
    plain,
    signed,
    significant,
    typeset,
)

_MATTERS = 0.5  # of u(mu): a run that moves mu less everywhere has no row of its own


def deletions_section(report: ReportInput) -> Section | None:
    """Say how far mu moves when each pack and each run is left out."""
    fits = {group: fit for group, fit in report.ordered_fits.items() if fit.deletions}
    named = list(_named(report))
    if not named:
        return None
    parts: list[Content] = [items(_words(name, fit) for name, fit in named)]
    if fits:
        told = [f"{name}: {_largest_words(fit)}" for name, fit in named]
        parts.append(
            figure(
                deletions(fits, report.marks),
                name="left-out-one-by-one",
                title="The coefficient without each pack and each run",
                caption="One row a pack: the filled mark is mu without the pack, each ring mu "
                "without one of its runs. The grey band is the standard uncertainty of mu, the "
                "bar what chance gives a pack that is like the others (one standard deviation).",
                description="Change of mu at the reference condition when a pack or run is left "
                f"out. {'. '.join(told)}.",
            )
        )
    return Section(
        "left-out-one-by-one",
        "What rests on single packs and runs",
        (*parts, _table(report, named)),
    )


def _named(report: ReportInput) -> Iterator[tuple[str, FrictionFit]]:
    """Return the fits with something left out, static ones behind the kinetic ones."""
    for fits, end in ((report.ordered_fits, ""), (report.static, ", static")):
        for group in report.marks:
            if group in fits and fits[group].deletions:
                yield f"{group}{end}", fits[group]


def _words(name: str, fit: FrictionFit) -> Content:
    driving = [one for one in fit.deletions if one.driving]
    if not driving:
        return element("b", f"{name}: "), typeset(f"{_largest_words(fit)}. Nothing stands out.")
    told = "; ".join(_driving_words(one) for one in driving)
    return element("b", f"{name}: "), typeset(f"{told}. {_largest_words(fit, first=True)}.")


def _driving_words(one: Deletion) -> str:
    if one.driving == APART:
        return f"{one.title} lies further from all the others than their scatter explains"
    return f"{one.title} carries {percent(one.leverage)} of what is known of mu at the reference"


def _largest_words(fit: FrictionFit, *, first: bool = False) -> str:
    one = largest(fit.deletions)
    if one is None or one.change is None or one.change_u is None:
        return "mu at the reference is not known without any one of them"
    it = one.title.capitalize() if first else one.title
    return (
        f"{it} moves mu most, by {signed(100.0 * one.change)} % when left out: "
        f"{significant(abs(one.change_u), 2)} of its uncertainty, where chance gives "
        f"\N{PLUS-MINUS SIGN} {significant(one.by_chance, 2)}"
    )


def _table(report: ReportInput, named: list[tuple[str, FrictionFit]]) -> Content:
    rows = list[tuple[Content, ...]]()
    weighted = any(fit.outliers for _, fit in named)
    for name, fit in named:
        points = fitted_points(report.points, fit)
        weight = point_weights(points, fit.outliers)
        top = largest([one for one in fit.deletions if one.kind != PACK])
        for one in fit.deletions:
            mine = (points.pack if one.kind == PACK else points.run) == one.name
            counts = float(weight[mine].mean())
            if one.kind == PACK or one is top or _stands_out(one, counts):
                own = _row(one, name)
                rows.append((*own, significant(counts, 2)) if weighted else own)
    return table(
        "The coefficient without each pack, and without the runs that move it by half its "
        "standard uncertainty u or more somewhere in the tested range, the one that moves it "
        "most among them. Scatter and all other variances are kept as found from all. Share: of "
        "the information on mu at the reference that goes with it. In brackets what chance gives "
        "one that is like the others, as a standard deviation."
        + (" Weight: of its points, below 1 where outliers count less." if weighted else ""),
        (
            "Left out",
            "Material (state)",
            "Share",
            "Change [%]",
            "Change [u]",
            "Largest in tested range [%]",
            "At",
            *(("Weight",) if weighted else ()),
        ),
        rows,
        text=(1, 6),
        dense=True,
    )


def _stands_out(one: Deletion, weight: float) -> bool:
    moves = max(abs(one.change_u or 0.0), abs(one.most_u or 0.0))
    return bool(one.driving) or moves >= _MATTERS or one.change is None or weight < 1.0


def _row(one: Deletion, name: str) -> tuple[Content, ...]:
    title = one.title if one.kind == PACK else f"{one.title} of {one.pack}"
    here: tuple[str, ...] = ("not known", NO_NUMBER)
    if one.change is not None and one.change_u is not None:
        chance = f"(\N{PLUS-MINUS SIGN} {significant(one.by_chance, 2)})"
        here = signed(100.0 * one.change, 2), f"{signed(one.change_u, 2)} {chance}"
    most = NO_NUMBER if one.most is None else signed(100.0 * one.most, 2)
    return title, kept(name), percent(one.leverage), *here, most, kept(_place(one.where))


def _place(where: Mapping[str, float]) -> str:
    """Return a corner of the tested range, at rest without its slip speed."""
    if not where:
        return NO_NUMBER
    axes = [axis for axis in ALL_AXES if where.get(axis)]
    return typeset(", ".join(f"{plain(where[axis], 2)} {QUANTITIES[axis].unit}" for axis in axes))
