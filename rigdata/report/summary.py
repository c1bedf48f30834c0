"""The head of the report and its first sections: verdicts, and what was tested."""

from __future__ import annotations

from rigdata.campaign.campaign import Oil
from rigdata.friction.conditions import at
from rigdata.report.blocks import Section, facts, items, kept, paragraph, table
from rigdata.report.coefficients import envelope_words
from rigdata.report.html import Content, element
from rigdata.report.model import ReportInput
from rigdata.report.numbers import condition, counted, interval, joined, percent, plain, rounded
from rigdata.report.ratios import verdict_blocks


def header(report: ReportInput) -> Content:
    """Say in two sentences what was tested and how much of it."""
    campaign, points = report.campaign, report.points
    day = f", {campaign.date.isoformat()}" if campaign.date else ""
    n_used = int(points.used.sum())
    lost = len(report.reduction.left_out)
    return (
        paragraph(f"Friction of clutch plates on rig {campaign.rig.name}{day}", class_="lead"),
        paragraph(
            f"{counted(len(campaign.materials), 'material')}, "
            f"{counted(len(set(points.pack.tolist())), 'pack')} and "
            f"{counted(len(set(points.run.tolist())), 'run')} gave "
            f"{counted(len(points), 'friction point')}, {n_used} of them used. "
            + (f"{counted(lost, 'run')} gave no result; " if lost else "No run was left out; "),
            element("a", "see what was left out, and why", href="#left-out"),
            ".",
        ),
        facts(
            (
                f"{name} (baseline)" if name == campaign.baseline else name,
                f"{campaign.materials[name].friction_plate} against "
                f"{campaign.materials[name].mating_plate}",
            )
            for name in report.materials
        ),
    )


def verdicts_section(report: ReportInput) -> Section:
    """Give the comparisons in words, then each material's number."""
    reference = report.campaign.reference
    where = condition(reference.slip_speed_m_s, reference.temperature_c, reference.pressure_mpa)
    if not report.fits:
        body: Content = paragraph(
            element("b", "No law could be fitted. "),
            "See what was left out, and why.",
        )
    else:
        body = (verdict_blocks(report), _numbers(report, where), _next_pack(report))
    return Section("verdicts", "Verdicts", (body,))


def _numbers(report: ReportInput, where: str) -> Content:
    rows = []
    for group, fit in report.ordered_fits.items():
        here = fit.predict(at(report.campaign.reference))
        mu, u = float(here.mu[0]), float(here.u_mu[0])
        rows.append(
            (
                str(group),
                rounded(mu, u),
                f"{rounded(u, u)} ({percent(u / mu)})",
                interval(float(here.mean_low[0]), float(here.mean_high[0]), u),
                interval(float(here.next_pack_low[0]), float(here.next_pack_high[0]), u),
                str(fit.n_packs),
                str(fit.n_runs),
                str(fit.n_points),
            )
        )
    return table(
        f"Friction coefficients at {where}, with 95 % intervals.",
        (
            "Material (state)",
            "Coefficient",
            "Standard uncertainty",
            "Mean of all packs",
            "One more pack",
            "Packs",
            "Runs",
            "Points",
        ),
        rows,
    )


def _next_pack(report: ReportInput) -> Content:
    """Say how far one more pack may lie off, and which numbers do not tell or are drawn on."""
    reaches, told = [], []
    for group, fit in report.ordered_fits.items():
        here = fit.predict(at(report.campaign.reference))
        reach = (here.next_pack_high[0] - here.next_pack_low[0]) / 2.0 / here.mu[0]
        if fit.n_packs < 2:
            told.append(
                f"One more pack of {group}: not known, because only one pack was tested; its "
                "own interval holds for that pack alone."
            )
        else:
            reaches.append(f"{percent(float(reach))} of the mean of {group}")
        if not here.inside[0]:
            told.append(
                f"The reference condition lies outside what was tested for {group} "
                f"({envelope_words(fit)}): its numbers are extrapolated."
            )
    if reaches:
        told.insert(
            0,
            "One more pack, tested as these were, would come out within "
            f"{joined(reaches)}, with 95 % probability.",
        )
    return [paragraph(sentence) for sentence in told]


def tested_section(report: ReportInput) -> Section:
    """List materials and packs with what was run on them."""
    campaign = report.campaign
    notes = [(name, campaign.materials[name].note) for name in report.materials]
    packs = []
    for name, pack in campaign.packs.items():
        runs = [run.procedure for run in campaign.runs if run.pack == name]
        kinds = [f"{runs.count(kind)} {kind}" for kind in dict.fromkeys(runs)]
        packs.append(
            (
                name,
                kept(pack.material),
                pack.batch,
                pack.state,
                plain(pack.service_hours),
                str(pack.friction_faces),
                f"{plain(pack.outer_radius_mm)} / {plain(pack.inner_radius_mm)}",
                ", ".join(kinds),
            )
        )
    return Section(
        "tested",
        "What was tested",
        (
            table(
                "Packs and the runs recorded of them.",
                (
                    "Pack",
                    "Material",
                    "Batch",
                    "State",
                    "Service [h]",
                    "Faces",
                    "Radii [mm]",
                    "Runs",
                ),
                packs,
                text=(1, 2, 3, 7),
            ),
            paragraph(_oil_words(campaign.oil)),
            facts((name, note) for name, note in notes if note),
            _envelopes(report),
        ),
    )


def _oil_words(oil: Oil | None) -> str:
    if oil is None:
        return "No oil: run dry."
    cold, hot = oil.kinematic_viscosity_40c_mm2_s, oil.kinematic_viscosity_100c_mm2_s
    index = oil.viscosity_index
    return (
        f"Oil: {oil.name}, {plain(cold)} mm\u00b2/s at 40 and {plain(hot)} mm\u00b2/s at "
        f"100 \N{DEGREE SIGN}C" + ("." if index is None else f", viscosity index {index:.0f}.")
    )


def _envelopes(report: ReportInput) -> Content:
    if not report.fits:
        return None
    return (
        paragraph("Envelope, the region that was really tested:"),
        items(
            f"{group}: {joined(envelope_words(fit).split(', '))}"
            for group, fit in report.ordered_fits.items()
        ),
    )
