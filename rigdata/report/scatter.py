"""The section on how far packs and runs differ, and on whose scatter the intervals rest."""

from __future__ import annotations

from rigdata.figures.quality import pack_offsets
from rigdata.friction.conditions import at
from rigdata.friction.pooled_fits import quoted
from rigdata.friction.pooling import WORDS, Pooling, Quoted
from rigdata.friction.results import FrictionFit, fitted_points
from rigdata.report.blocks import Section, figure, items, kept, paragraph, table
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import (
    condition,
    counted,
    interval,
    joined,
    percent,
    rounded,
    signed,
    significant,
)

_NOUGHT = 5e-5  # as far as the tables show


def scatter_section(report: ReportInput) -> Section | None:
    """Say how much packs and runs differ beyond what measurement explains."""
    if not report.fits:
        return None
    return Section(
        "scatter",
        "Scatter between packs and runs",
        (
            items(_scatter_words(fit) for fit in report.ordered_fits.values()),
            _scatter_table(report),
            _pooling_words(report),
            _interval_table(report),
            *_each_pack(report),
        ),
    )


def _scatter_words(fit: FrictionFit) -> Content:
    found = fit.scatter
    if found.pack is not None:
        packs = f"packs differ by {_spread_words(found.pack, found.pack_limit)}"
    elif fit.n_packs > 1:
        packs = "the law has so many terms for so few runs that it follows every pack"
    else:
        packs = (
            "only one pack was tested, so nothing is known of how packs differ and no interval "
            "for the next pack is given"
        )
    if found.run is not None:
        runs = f"runs of one pack differ by {_spread_words(found.run, found.run_limit)}"
    elif fit.n_runs > fit.n_packs and "run" in fit.estimate.components:
        runs = "with so few runs for this law, how runs differ cannot be told from its own terms"
    else:
        runs = "no pack was run twice, so how runs differ is part of how packs differ"
    pooling = fit.pooling
    whose = ""
    if pooling is not None and pooling.used:
        kinds = joined([WORDS[part.kind] for part in pooling.common])
        n = counted(len(pooling.tests[0].groups), "group")
        whose = f" That between {kinds} is taken from {n} together, see below."
    return (element("b", f"{fit.group}: "), f"{packs}; {runs}.{whose}")


def _spread_words(value: float, limit: float | None) -> str:
    """Say how large a spread is; one that was found to be nought with what it may be."""
    if value >= _NOUGHT:
        most = f", {percent(limit)} at most" if limit is not None else ""
        return f"{percent(value)} (one standard deviation{most})"
    most = f"less than {percent(limit)}, and " if limit is not None else ""
    return f"{most}no more than measurement explains"


def _scatter_table(report: ReportInput) -> Content:
    rows = []
    for group, fit in report.ordered_fits.items():
        here, found = fit.predict(at(report.campaign.reference)), fit.scatter
        rows.append(
            (
                str(group),
                str(fit.n_packs),
                _scatter_text(found.pack, found.pack_limit),
                str(fit.n_runs),
                _scatter_text(found.run, found.run_limit),
                str(fit.n_points),
                _scatter_text(found.misfit, found.misfit_limit),
                percent(float(here.u_mu[0] / here.mu[0])),
            )
        )
    return table(
        "Standard deviations relative to the coefficient, beyond what measurement explains. In "
        "brackets what each is at most: the one-sided 95 % limit by restricted likelihood ratio, "
        "after the mixture of chi-squares of Self and Liang (1987) with the threshold that is "
        "exact for as few packs.",
        (
            "Material (state)",
            "Packs",
            "Spread between packs",
            "Runs",
            "Spread between runs",
            "Points",
            "Spread between points",
            "For comparison: uncertainty of the mean",
        ),
        rows,
    )


def _scatter_text(value: float | None, limit: float | None) -> str:
    if value is None:
        return "not known"
    found = percent(value) if value >= _NOUGHT else "none seen"
    return found if limit is None else f"{found} (< {percent(limit)})"


def _pooling_words(report: ReportInput) -> Content:
    """Say whether groups have their scatter in common, and on which the intervals rest."""
    pooled = [fit.pooling for fit in report.ordered_fits.values() if fit.pooling is not None]
    heading = element("h3", "Own scatter or that of several groups")
    if not pooled:
        told = (
            "Each interval rests on the scatter of its own group: no two groups were tested alike."
        )
        return heading, paragraph(told)
    first = pooled[0]
    used = any(pooling.used for pooling in pooled)
    return heading, paragraph(_choice_words(first, used=used)), _test_table(first)


def _test_table(pooling: Pooling) -> Content:
    """The spread of each group alone, of all together, and what the tests say of them."""
    tests = pooling.tests
    rows = [
        (name, *(_with_dof(test.own[i], test.own_dof[i]) for test in tests))
        for i, name in enumerate(tests[0].groups)
    ]
    return table(
        "May a scatter be the same in all groups? Spread of each alone and of all together, in "
        "brackets its degrees of freedom; p of their being equal, by restricted likelihood ratio "
        "with Bartlett's correction: below 0.05 each group keeps its own. Few packs show only "
        "gross differences: the last row is the ratio of two spreads that the test finds four "
        "times in five.",
        ("Material (state)", *(f"Between {WORDS[test.kind]}" for test in tests)),
        [
            *rows,
            ("all together", *(_with_dof(test.common, test.common_dof) for test in tests)),
            ("p of being equal", *(test.chance.removeprefix("p = ") for test in tests)),
            ("ratio that would be found", *(significant(test.seen, 2) for test in tests)),
        ],
    )


def _with_dof(value: float, dof: float) -> str:
    return f"{_scatter_text(value, None)} ({significant(dof, 2)})"


def _choice_words(pooling: Pooling, *, used: bool) -> str:
    """Say whose scatter the intervals rest on, and why."""
    kinds = joined([WORDS[part.kind] for part in pooling.common])
    against = joined([WORDS[test.kind] for test in pooling.tests if test.speaks_against])
    n = counted(len(pooling.tests[0].groups), "group")
    but = f" The test speaks against a common scatter between {against}." if against else ""
    if used:
        return (
            f"As asked for, the scatter between {kinds} is taken from {n} together, because no "
            f"test speaks against its being equal.{but} Where packs are few such a test proves "
            "little: hold both intervals against each other below."
        )
    if kinds:
        return (
            "Each interval rests on the scatter of its own group, which is the rule. No test "
            f"speaks against taking that between {kinds} from {n} together (--pool-scatter); the "
            f"intervals that this would give stand beside.{but}"
        )
    return f"Each interval rests on the scatter of its own group.{but}"


def _interval_table(report: ReportInput) -> Content:
    """Both intervals of every group at the reference condition, and which was used."""
    rows: list[tuple[str, ...]] = []
    for group, fit in report.ordered_fits.items():
        pooling = fit.pooling
        own = quoted(fit) if pooling is None else pooling.own
        if pooling is None or pooling.pooled is None:
            rows.append((str(group), "own", *_interval_cells(own), "used"))
            continue
        marks = ("", "used") if pooling.used else ("used", "")
        rows.append((str(group), "own", *_interval_cells(own), marks[0]))
        together = f"of {len(pooling.tests[0].groups)} groups"
        rows.append((str(group), together, *_interval_cells(pooling.pooled), marks[1]))
    here = report.campaign.reference
    place = condition(here.slip_speed_m_s, here.temperature_c, here.pressure_mpa)
    return table(
        f"95 % intervals of the coefficient at {place}: for the mean of all packs, for one more "
        "pack tested in as many runs, and for one run of a pack not tested yet.",
        (
            "Material (state)",
            "Scatter",
            "Mean",
            "One more pack",
            "One run of a new pack",
            "In this report",
        ),
        rows,
        text=(1, 5),
    )


def _interval_cells(told: Quoted) -> tuple[str, ...]:
    u = (told.mean_high - told.mean_low) / 4.0
    return (
        interval(told.mean_low, told.mean_high, u),
        interval(told.next_pack_low, told.next_pack_high, u),
        interval(told.next_run_low, told.next_run_high, u),
    )


def _each_pack(report: ReportInput) -> tuple[Content, ...]:
    packs = _pack_rows(report)
    return (
        figure(
            pack_offsets(report.points, report.ordered_fits, report.marks),
            name="pack-offsets",
            title="Packs against the law of their material",
            caption="The distance between dots of one colour is how far packs differ; the "
            "bars are the spread of one pack's points.",
            description="Mean deviation of each pack's points from the law of its material, "
            "with their standard deviation. "
            + "; ".join(f"pack {row[0]}: {row[5]} %" for row in packs)
            + ".",
        ),
        table(
            "Each pack against the law of its material: mean deviation and spread of its points.",
            (
                "Pack",
                "Material (state)",
                "Batch",
                "Runs",
                "Points",
                "Mean deviation [%]",
                "Spread [%]",
            ),
            [(row[0], kept(row[1]), *row[2:]) for row in packs],
            text=(1, 2),
        ),
    )


def _pack_rows(report: ReportInput) -> list[tuple[str, ...]]:
    """How far each pack lies from the law of its group."""
    rows: list[tuple[str, ...]] = []
    for group, fit in report.ordered_fits.items():
        points = fitted_points(report.points, fit)
        for pack in dict.fromkeys(points.pack.tolist()):
            mine = points.pack == pack
            residual = 100.0 * fit.residual[mine]
            spread = float(residual.std(ddof=1)) if residual.size > 1 else float("nan")
            rows.append(
                (
                    pack,
                    str(group),
                    str(points.batch[mine][0]),
                    str(len(set(points.run[mine].tolist()))),
                    str(residual.size),
                    signed(float(residual.mean()), 2),
                    rounded(spread, spread),
                )
            )
    return rows
