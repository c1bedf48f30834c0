"""Results in plain words and short tables, for the commands that show them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from rigdata.cli.terminal import aligned, interval, paragraph, rounded
from rigdata.comparison.ratios import Ratio
from rigdata.friction.conditions import AXES, DWELL, ReferenceCondition, at
from rigdata.friction.results import FrictionFit, Group, LawScore
from rigdata.friction.slopes import follows
from rigdata.quantities import QUANTITIES
from rigdata.tables.table import FIELDS

Fits = Mapping[Group, FrictionFit]


def condition_words(reference: ReferenceCondition) -> str:
    """Return the reference condition, as ``0.1 m/s, 80 degC, 1 MPa``."""
    return ", ".join(f"{getattr(reference, name):g} {QUANTITIES[name].unit}" for name in AXES)


def fit_row(fit: FrictionFit) -> dict[str, float]:
    """Return what a fit predicts at its reference condition, static friction at no slip."""
    prediction = fit.predict(at(fit.reference))
    row = {name: float(getattr(prediction, name)[0]) for name in FIELDS}
    return {**row, "inside_envelope": bool(prediction.inside[0])}


def fit_rows(fits: Fits, kind: str) -> list[dict[str, object]]:
    """Return the fits as plain values, for JSON."""
    return [
        {
            "material": group.material,
            "state": group.state,
            "kind": kind,
            "law": fit.law,
            "parameters": fit.parameters,
            "packs": fit.n_packs,
            "runs": fit.n_runs,
            "points": fit.n_points,
            "dwell_s": fit.reference.dwell_s if follows(fit, DWELL) else None,
            **fit_row(fit),
            "ranking": [asdict(score) for score in fit.ranking],
        }
        for group, fit in fits.items()
    ]


def ranking_table(kinetic: Fits, static: Fits) -> str:
    """Return every law tried for each group, and in a few words why it was or was not taken.

    Akaike's criterion is given above its least, and the log density of what was
    left out against the best law, with the standard error of that difference.
    """
    rows: list[Sequence[str]] = []
    for name, fit in _named(kinetic, static):
        lowest = min((s.aicc for s in fit.ranking if s.aicc is not None), default=0.0)
        rows += [name, *(_law_row(score, lowest) for score in fit.ranking)]
    return aligned(["  law", "par", "AICc", "left out", "why"], rows)


def _law_row(score: LawScore, lowest: float) -> list[str]:
    rise = "-" if score.aicc is None else _short(score.aicc - lowest)
    loss, u = score.left_out_loss, score.left_out_loss_u
    told = "-" if loss is None or u is None else f"{_short(-loss)} +- {_short(u)}"
    best = "best" if loss == 0.0 else told
    return [f"  {score.law}", str(score.n_parameters), rise, best, score.reason]


def _short(value: float) -> str:
    return f"{value:.1f}" if abs(value) < 99.95 else f"{value:.0f}"


def fit_table(kinetic: Fits, static: Fits) -> str:
    """Return one row a group and kind: mu at the reference condition with its intervals."""
    rows = []
    for name, fit in _named(kinetic, static):
        row = fit_row(fit)
        u = row["u_mu"]
        mean = interval(row["mean_low"], row["mean_high"], u)
        more = interval(row["next_pack_low"], row["next_pack_high"], u)
        mark = "" if row["inside_envelope"] else " *"
        after = f" after {fit.reference.dwell_s:g} s" if follows(fit, DWELL) else ""
        rows.append([name + after, rounded(row["mu"], u) + mark, mean, more, str(fit.n_packs)])
    headers = ["group", "mu", "mean of packs", "one more pack", "packs"]
    text = aligned(headers, rows)
    if any("*" in row[1] for row in rows):
        text += "\n* not tested at this condition: drawn out from the law"
    return text


def _named(kinetic: Fits, static: Fits) -> list[tuple[str, FrictionFit]]:
    return [
        *((str(group), fit) for group, fit in kinetic.items()),
        *((f"{group}, static", fit) for group, fit in static.items()),
    ]


def ratio_words(ratios: Sequence[Ratio]) -> str:
    """Return each comparison in a sentence of its own."""
    return "\n".join(paragraph(f"- {r.words}.".replace("..", "."), indent="  ") for r in ratios)


def ratio_rows(ratios: Sequence[Ratio]) -> list[dict[str, object]]:
    """Return the comparisons at their quoted condition as plain values, for JSON."""
    return [
        {
            "material": ratio.group.material,
            "state": ratio.group.state,
            "against_material": ratio.against.material,
            "against_state": ratio.against.state,
            **{name: float(getattr(ratio.conditions, name)[0]) for name in AXES},
            "ratio": float(ratio.ratio[0]),
            "low": float(ratio.low[0]),
            "high": float(ratio.high[0]),
            "margin": ratio.margin,
            "verdict": ratio.verdict,
            "words": ratio.words,
        }
        for ratio in ratios
    ]
