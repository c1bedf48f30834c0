"""Results in plain words and short tables, for the commands that show them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rigdata.cli.terminal import aligned, interval, paragraph, rounded
from rigdata.comparison.ratios import Ratio
from rigdata.friction.conditions import AXES, ReferenceCondition, at
from rigdata.friction.results import FrictionFit, Group
from rigdata.quantities import QUANTITIES
from rigdata.report.numbers import counted


def condition_words(reference: ReferenceCondition) -> str:
    """Return the reference condition, as ``0.1 m/s, 80 degC, 1 MPa``."""
    return ", ".join(f"{getattr(reference, name):g} {QUANTITIES[name].unit}" for name in AXES)


def coefficient_words(fit: FrictionFit, kind: str) -> str:
    """Return the coefficient of one group at the reference condition in a sentence."""
    row = fit_row(fit)
    mu, u = row["mu"], row["u_mu"]
    mean = interval(row["mean_low"], row["mean_high"], u)
    if fit.n_packs > 1:
        more = interval(row["next_pack_low"], row["next_pack_high"], u)
        text = f"mean of all packs {mean}, one more pack {more}"
    else:
        text = f"this one pack {mean}"
    text = f"{fit.group}: {kind} mu {rounded(mu, u)} ({text}, at 95 %)"
    if not row["inside"]:
        text += "; the reference condition was not tested, so this is drawn out from the law"
    points, runs = counted(fit.n_points, "point"), counted(fit.n_runs, "run")
    rests_on = f"{points}, {runs}, {counted(fit.n_packs, 'pack')}"
    return paragraph(f"{text}. {fit.law} law from {rests_on}.", indent="  ")


def fit_row(fit: FrictionFit) -> dict[str, float]:
    """Return what a fit predicts at its reference condition, by name."""
    prediction = fit.predict(at(fit.reference))
    names = ("mu", "u_mu", "mean_low", "mean_high", "next_pack_low", "next_pack_high")
    row = {name: float(getattr(prediction, name)[0]) for name in names}
    return {**row, "inside": bool(prediction.inside[0])}


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
            **fit_row(fit),
        }
        for group, fit in fits.items()
    ]


def fit_table(fits: Mapping[Group, FrictionFit]) -> str:
    """Return one row a group at its reference condition."""
    rows = []
    for group, fit in fits.items():
        row = fit_row(fit)
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


def ratio_words(ratios: Sequence[Ratio]) -> list[str]:
    """Return each comparison in a sentence."""
    return [paragraph(ratio.words, indent="  ") for ratio in ratios]
