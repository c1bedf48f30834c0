"""Section on batches: is each like those before it?"""

from __future__ import annotations

from rigdata.comparison.batches import CONFIDENCE, POWER, SHARE, BatchCheck
from rigdata.report.blocks import Section, items, paragraph, table
from rigdata.report.model import ReportInput
from rigdata.report.numbers import interval, percent, plain, rounded, typeset


def batches_section(report: ReportInput) -> Section | None:
    """Show each batch against the others of its material."""
    if not report.batches:
        return None
    return Section(
        "batches",
        "Batches",
        (
            items(typeset(check.words) + "." for check in report.batches),
            table(
                "Batches at the reference condition, with 95 % intervals.",
                (
                    "Batch",
                    "Against",
                    "Packs",
                    "Ratio",
                    "95 % interval",
                    "Packs differ by",
                    f"{100 * SHARE:.0f} % of packs lie in",
                    "Difference that would show",
                    "Verdict",
                ),
                [_row(check) for check in report.batches],
                text=(1, 8),
            ),
            paragraph(
                f"The range of {100 * SHARE:.0f} % of the packs of the other batches holds with "
                f"{100 * CONFIDENCE:.0f} % confidence. A difference would show in "
                f"{100 * POWER:.0f} % of tests like these.",
                class_="note",
            ),
        ),
    )


def _row(check: BatchCheck) -> tuple[str, ...]:
    return (
        f"{check.material} ({check.state}), {check.batch}",
        ", ".join(check.against),
        f"{check.n_packs} and {check.n_against}",
        rounded(check.ratio, check.u),
        interval(check.low, check.high, check.u),
        percent(check.pack_sd),
        f"{plain(check.tolerance[0], 3)} to {plain(check.tolerance[1], 3)}",
        percent(check.resolvable),
        check.verdict,
    )
