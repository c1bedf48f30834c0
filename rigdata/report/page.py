"""The report of a campaign, from what was tested to what was left out."""

from __future__ import annotations

from rigdata.report.batches import batches_section
from rigdata.report.bedding import bedding_section
from rigdata.report.blocks import Section
from rigdata.report.chatter import breakaway_section, chatter_section
from rigdata.report.coefficients import speed_section, surroundings_section
from rigdata.report.deletions import deletions_section
from rigdata.report.layout import page
from rigdata.report.model import ReportInput
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

_WRITERS = (
    verdicts_section,
    speed_section,
    surroundings_section,
    materials_section,
    states_section,
    batches_section,
    wear_section,
    chatter_section,
    breakaway_section,
    budget_section,
    quality_section,
    residuals_section,
    scatter_section,
    deletions_section,
    traces_section,
    bedding_section,
    tested_section,
    tables_section,
    left_out_section,
    cautions_section,
    provenance_section,
)


def render_report(report: ReportInput) -> str:
    """Return the report as one HTML document that needs nothing beside it.

    Parameters
    ----------
    report : ReportInput
        Every stage's result; parts that are missing leave out their section.
    """
    found = (writer(report) for writer in _WRITERS)
    sections: list[Section] = [section for section in found if section is not None]
    return page(
        report.campaign.name,
        header=header(report),
        sections=sections,
        footer=f"rigdata {report.provenance.get('version', '')}. "
        "Bench values are not a guarantee on the vehicle; see the cautions.",
    )
