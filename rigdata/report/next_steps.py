"""What to do next: the few steps that follow from the result, the weightiest first."""

from __future__ import annotations

from collections.abc import Iterator

from rigdata.comparison.verdict import NOT_RESOLVED
from rigdata.errors import Severity
from rigdata.friction.conditions import at
from rigdata.report.blocks import Section, items
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import counted, joined, typeset
from rigdata.report.record import all_notices

_MOST_WARNINGS = 4


def next_steps_section(report: ReportInput) -> Section:
    """List what to repeat, what to test more, and how to use the numbers."""
    steps: list[Content] = [*_repeat(report), *_warned(report), *_test_more(report), *_use(report)]
    return Section("next", "What to do next", (items(steps),))


def _repeat(report: ReportInput) -> Iterator[Content]:
    """Runs without a result."""
    lost = list(report.reduction.left_out)
    if lost:
        yield (
            element("b", "Repeat "),
            f"{counted(len(lost), 'run')} without a result ({joined(lost[:3])}"
            f"{' and others' if len(lost) > 3 else ''}), or accept the loss: ",
            element("a", "the reasons", href="#left-out"),
            ".",
        )


def _warned(report: ReportInput) -> Iterator[Content]:
    """What warnings ask for, each once."""
    asked: dict[str, list[str]] = {}
    for notice in all_notices(report):
        if notice.severity is Severity.WARNING and notice.do:
            asked.setdefault(notice.do.rstrip("."), []).append(notice.where)
    for do, places in list(asked.items())[:_MOST_WARNINGS]:
        named = joined(list(dict.fromkeys(places))[:3])
        yield element("b", f"{typeset(do)}. "), f"Asked for by {named}."
    if len(asked) > _MOST_WARNINGS:
        more = counted(len(asked) - _MOST_WARNINGS, "more warning")
        yield f"{more} with advice: see ", element("a", "the notices", href="#left-out"), "."


def _test_more(report: ReportInput) -> Iterator[Content]:
    """Groups that one pack stands for, comparisons left open, numbers drawn on beyond the tests."""
    single = [str(group) for group, fit in report.ordered_fits.items() if fit.n_packs < 2]
    if single:
        yield (
            element("b", "Test a second pack "),
            f"of {joined(single)}: one pack does not tell how much packs differ.",
        )
    beyond = [
        str(group)
        for group, fit in report.ordered_fits.items()
        if not fit.predict(at(report.campaign.reference)).inside[0]
    ]
    if beyond:
        yield (
            element("b", "Test at the reference condition "),
            f"for {joined(beyond)}: it lies outside what was tested.",
        )
    unresolved = [
        f"{ratio.group} and {ratio.against}"
        for ratio in report.ratios
        if ratio.verdict == NOT_RESOLVED
    ]
    if unresolved:
        yield (
            element("b", "Count as neither equal nor different: "),
            f"{'; '.join(unresolved)}. What would narrow the intervals stands under ",
            element("a", "uncertainty budget", href="#budget"),
            ".",
        )


def _use(report: ReportInput) -> Iterator[Content]:
    """How to use the numbers, where there are any."""
    if not report.fits:
        yield "See ", element("a", "what was left out, and why", href="#left-out"), "."
        return
    if any(fit.n_packs > 1 for fit in report.fits.values()):
        yield (
            element("b", "For a pack not tested yet "),
            "use the interval of one more pack; for the material as a whole that of the mean.",
        )
    if report.table_files:
        yield (
            element("b", "For a setup calculator "),
            "take the ",
            element("a", "coefficient tables", href="#tables"),
            ".",
        )
    yield (
        element("b", "Prove it on the vehicle "),
        "before you rely on it: ",
        element("a", "cautions", href="#cautions"),
        ".",
    )
