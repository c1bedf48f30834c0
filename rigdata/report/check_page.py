"""A page on the runs of a campaign under way, to stand open beside the rig."""

from __future__ import annotations

from collections.abc import Sequence

from rigdata.errors import Notice, Severity
from rigdata.figures.run_glance import run_glance
from rigdata.reduction.trace import Trace
from rigdata.reduction.verdicts import GOOD, TO_COME, VERDICTS, CampaignCheck, RunVerdict
from rigdata.report.html import Content, Element, element
from rigdata.report.layout import document
from rigdata.report.numbers import counted, typeset

_LEGEND = (
    "Shaded: windows that became friction points; dashed: windows not used. The numbers beside a "
    "strip are its lowest and highest value."
)


def check_page(check: CampaignCheck, *, checked: str, refresh_s: float | None = None) -> str:
    """Return an HTML document with the verdict, reason and course of each run.

    Parameters
    ----------
    check : CampaignCheck
    checked : str
        When the logs were looked at.
    refresh_s : float, optional
        How often a browser that shows the page loads it again. [s]
    """
    body = element(
        "body",
        element(
            "header",
            element("h1", f"Runs of {check.campaign.name}"),
            element("p", counts_words(check), f" Looked at on {checked}.", class_="lead"),
        ),
        element("p", _LEGEND, class_="note"),
        element("main", _general(check.notices), [_part(check, verdict) for verdict in VERDICTS]),
    )
    return document(
        f"Runs of {check.campaign.name}", ("report.css", "check.css"), body, refresh_s=refresh_s
    )


def counts_words(check: CampaignCheck) -> str:
    """Return how many runs have each verdict, as ``2 to repeat, 14 good.``, and which is next."""
    words = {"repeat": "to repeat", "look": "to look at"}
    told = [f"{n} {words.get(verdict, verdict)}" for verdict, n in check.counts.items()]
    coming = next((one.run for one in check.runs if one.verdict == TO_COME), None)
    after = f" Next: {coming.id}, {coming.procedure} of pack {coming.pack}." if coming else ""
    return ", ".join(told) + "." + after


def _general(notices: Sequence[Notice]) -> Content:
    shown = [n for n in notices if n.severity is not Severity.NOTE]
    if not shown:
        return None
    return element(
        "section",
        element("h2", "On the campaign as a whole", id="whole"),
        element("ul", [element("li", typeset(f"{n.where}: {n.what}. {n.do}")) for n in shown]),
        aria_labelledby="whole",
    )


def _part(check: CampaignCheck, verdict: str) -> Content:
    runs = [one for one in check.runs if one.verdict == verdict]
    if not runs:
        return None
    name = verdict.replace(" ", "-")
    if verdict == TO_COME:
        content: Content = element("p", ", ".join(one.run.id for one in runs), ".")
    else:
        content = [_run(one) for one in runs]
    return element(
        "section",
        element("h2", verdict[0].upper() + verdict[1:], id=name),
        content,
        aria_labelledby=name,
    )


def _run(one: RunVerdict) -> Element:
    points = "" if one.n_points is None else f", {counted(one.n_points, 'point')}"
    return element(
        "article",
        element(
            "div",
            element("h3", one.run.id),
            element("p", f"{one.run.procedure} of pack {one.run.pack}{points}", class_="note"),
            element("p", element("b", one.verdict), ": ", typeset(f"{one.reason}."))
            if one.verdict != GOOD
            else None,
            element("p", typeset(one.do)) if one.do else None,
        ),
        _glance(one.trace),
        id=f"run-{one.run.id}",
        class_="run",
    )


def _glance(trace: Trace | None) -> Content:
    if trace is None:
        return element("p", "No course: the log could not be read.", class_="note")
    name = "run-" + "".join(c if c.isascii() and c.isalnum() else "-" for c in trace.run.lower())
    title = f"Torque, clamp load and slip speed of run {trace.run} against time"
    return element("figure", run_glance(trace, name=name, title=title))
