"""The report of a campaign, from what was tested to what was left out."""

from __future__ import annotations

from collections.abc import Callable

from rigdata.figures.together import draw_all
from rigdata.report.batches import batches_section
from rigdata.report.bedding import bedding_section
from rigdata.report.blocks import Section
from rigdata.report.chatter import breakaway_section, chatter_section
from rigdata.report.coefficients import speed_section, surroundings_section
from rigdata.report.deletions import deletions_section
from rigdata.report.layout import page
from rigdata.report.lookup import lookup_section
from rigdata.report.model import ReportInput
from rigdata.report.next_steps import next_steps_section
from rigdata.report.quality import quality_section
from rigdata.report.ratios import materials_section, states_section
from rigdata.report.record import (
    cautions_section,
    left_out_section,
    provenance_section,
    tables_section,
)
from rigdata.report.residuals import residuals_section
from rigdata.report.runs import traces_section
from rigdata.report.scatter import scatter_section
from rigdata.report.summary import header, tested_section, verdicts_section
from rigdata.report.trust import budget_section
from rigdata.report.wear import wear_section
from rigdata.steps import Progress

# What came out and what to do stands first, then the evidence, then the record.
_PARTS: dict[str, tuple[Callable[[ReportInput], Section | None], ...]] = {
    "Outcome": (verdicts_section, next_steps_section, lookup_section),
    "Friction": (
        speed_section,
        surroundings_section,
        materials_section,
        states_section,
        batches_section,
    ),
    "Behaviour": (wear_section, chatter_section, breakaway_section, bedding_section),
    "How sure": (
        budget_section,
        quality_section,
        residuals_section,
        scatter_section,
        deletions_section,
    ),
    "Record": (
        tested_section,
        traces_section,
        tables_section,
        left_out_section,
        cautions_section,
        provenance_section,
    ),
}


def render_report(report: ReportInput, *, progress: Progress | None = None) -> str:
    """Return the report as one HTML document that needs nothing beside it.

    Parameters
    ----------
    report : ReportInput
        Every stage's result; parts that are missing leave out their section.
    progress : callable, optional
        Told each figure before it is drawn.
    """
    parts = sections(report)
    pictures = [picture for own in parts.values() for one in own for picture in one.pictures]
    draw_all(pictures, progress=progress)
    return page(
        report.campaign.name,
        header=header(report),
        parts=parts,
        footer=f"rigdata {report.provenance.get('version', '')}. "
        "Bench values are not a guarantee on the vehicle; see the cautions.",
        script="lookup.js" if report.tables else None,
    )


def sections(report: ReportInput) -> dict[str, list[Section]]:
    """Return the sections by the part of the report that they stand in, in its order."""
    return {
        name: [section for writer in writers if (section := writer(report)) is not None]
        for name, writers in _PARTS.items()
    }
