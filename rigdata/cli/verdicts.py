"""Results in plain words and short tables, for the commands that show them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rigdata.cli.terminal import aligned, interval, paragraph, rounded
from rigdata.comparison.ratios import Ratio
from rigdata.friction.conditions import AXES, Conditions, ReferenceCondition
from rigdata.friction.results import FrictionFit, Group
from rigdata.quantities import QUANTITIES
from rigdata.report.numbers import counted
from rigdata.tables.table import FIELDS


def condition_words(reference: ReferenceCondition) -> str:
    """Return the reference condition, as ``0.1 m/s, 80 degC, 1 MPa``."""
    return ", ".join(f"{getattr(reference, name):g} {QUANTITIES[name].unit}" for name in AXES)


def coefficient_words(fit: FrictionFit, kind: str) -> str:
    """Return the coefficient of one group at the reference condition in a sentence."""
    row = fit_row(fit, kind)
    mu, u = row["mu"], row["u_mu"]
    mean = interval(row["mean_low"], row["mean_high"], u)
    if fit.n_packs > 1:
        more = interval(row["next_pack_low"], row["next_pack_high"], u)
        text = f"mean of all packs {mean}, one more pack {more}"
    else:
        text = f"this one pack {mean}"
    text = f"{fit.group}: {kind} mu {rounded(mu, u)} ({text}, at 95 %)"
    if not row["inside_envelope"]:
        text += "; the reference condition was not tested, so this is drawn out from the law"
    points, runs = counted(fit.n_points, "point"), counted(fit.n_runs, "run")
    rests_on = f"{points}, {runs}, {counted(fit.n_packs, 'pack')}"
    return paragraph(f"{text}. {fit.law} law from {rests_on}.", indent="  ")


def fit_row(fit: FrictionFit, kind: str) -> dict[str, float]:
    """Return what a fit predicts at its reference condition, static friction at no slip."""
    reference = fit.reference
    speed = reference.slip_speed_m_s if kind == "kinetic" else 0.0
    where = Conditions(speed, reference.temperature_c, reference.pressure_mpa)
    prediction = fit.predict(where)
    row = {name: float(getattr(prediction, name)[0]) for name in FIELDS}
    return {**row, "inside_envelope": bool(prediction.inside[0])}


def fit_rows(fits: Mapping[Group, FrictionFit], kind: str) -> list[dict[str, object]]:
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
            **fit_row(fit, kind),
        }
        for group, fit in fits.items()
    ]


def fit_table(fits: Mapping[Group, FrictionFit], kind: str) -> str:
    """Return one row a group at its reference condition."""
    rows = []
    for group, fit in fits.items():
        row = fit_row(fit, kind)
        u = row["u_mu"]
        rows.append(
            [
                str(group),
                fit.law,
                rounded(row["mu"], u),
                interval(row["mean_low"], row["mean_high"], u),
                interval(row["next_pack_low"], row["next_pack_high"], u),
                str(fit.n_packs),
                str(fit.n_points),
            ]
        )
    return aligned(["group", "law", "mu", "mean, 95 %", "next pack, 95 %", "packs", "points"], rows)


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
