"""Fits in and out of fits.json: everything a prediction needs, to the last bit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Oil, Reference
from rigdata.errors import Notice, Severity
from rigdata.friction.adequacy import Adequacy
from rigdata.friction.allowances import Outlier
from rigdata.friction.case_deletion import Deletion
from rigdata.friction.conditions import ALL_AXES
from rigdata.friction.diagnostics.findings import Diagnostics
from rigdata.friction.envelope import Envelope
from rigdata.friction.estimate import Estimate
from rigdata.friction.laws.knots import Knots
from rigdata.friction.laws.registry import law
from rigdata.friction.pooling import pooling_from_dict, pooling_to_dict
from rigdata.friction.profiles import ParameterProfile
from rigdata.friction.results import FrictionFit, Group, LawScore, Scatter
from rigdata.storage.json_files import entries, finite, read_json, write_json
from rigdata.storage.well_typed import check_types

FORMAT = 1

Fits = Mapping[Group, FrictionFit]


def write_fits(path: Path, kinetic: Fits, static: Fits | None = None) -> None:
    """Write the fits of a campaign to `path` (fits.json), whole or not at all."""
    write_json(path, fits_to_dict(kinetic, static))


def read_fits(path: Path) -> tuple[dict[Group, FrictionFit], dict[Group, FrictionFit]]:
    """Return the kinetic and the static fits of a fits.json.

    Raises
    ------
    ResultError
        When the file is missing, is of another format or lacks an entry.
    """
    return fits_from_dict(read_json(path), where=str(path))


def fits_to_dict(kinetic: Fits, static: Fits | None = None) -> dict[str, Any]:
    """Return the fits as plain values for JSON; what has no value is None."""
    return {
        "format": FORMAT,
        "kinetic": [_fit_to_dict(fit) for fit in kinetic.values()],
        "static": [_fit_to_dict(fit) for fit in (static or {}).values()],
    }


def fits_from_dict(
    data: Mapping[str, Any], *, where: str = "fits"
) -> tuple[dict[Group, FrictionFit], dict[Group, FrictionFit]]:
    """Return the kinetic and the static fits that `fits_to_dict` described.

    Raises
    ------
    ResultError
        When the data are of another format or lack an entry.
    """
    with entries(data, FORMAT, of="fits", where=where, do="Fit the points again") as found:
        kinetic, static = (
            {fit.group: fit for fit in map(_fit_from_dict, found[kind])}
            for kind in ("kinetic", "static")
        )
    return kinetic, static


def _fit_to_dict(fit: FrictionFit) -> dict[str, Any]:
    estimate, form = fit.estimate, fit.form
    return {
        "material": fit.group.material,
        "state": fit.group.state,
        "law": fit.law,
        "formula": form.formula,
        "reference": {axis: getattr(fit.reference, axis) for axis in ALL_AXES},
        "outliers": [outlier.to_dict() for outlier in fit.outliers],
        "deletions": [one.to_dict() for one in fit.deletions],
        "oil": None if fit.oil is None else asdict(fit.oil),
        "knots": None if fit.knots is None else asdict(fit.knots),
        "parameters": [
            {
                "name": parameter.name,
                "unit": parameter.unit,
                "meaning": parameter.meaning,
                "value": float(value),
                "u": float(np.sqrt(variance)),
                "held": parameter.name in fit.not_identified,
            }
            for parameter, value, variance in zip(
                form.parameters, fit.theta, np.diag(fit.covariance), strict=True
            )
        ],
        "not_identified": list(fit.not_identified),
        "covariance": estimate.covariance.tolist(),
        "scatter": asdict(fit.scatter),
        "pooling": pooling_to_dict(fit.pooling),
        "components": [
            {
                "name": name,
                "variance": float(estimate.variances[i]),
                "mean_square": float(estimate.mean_square[i]),
                "estimated": float(estimate.estimated[i]),
                "dof": float(estimate.dof[i]),
                "nesting": estimate.nesting[i].tolist(),
                "sensitivity": estimate.sensitivity[i].tolist(),
            }
            for i, name in enumerate(estimate.components)
        ],
        "smooths": dict(zip(estimate.smooths, estimate.smoothing.tolist(), strict=True)),
        "envelope": fit.envelope.to_dict(),
        "n_points": fit.n_points,
        "n_packs": fit.n_packs,
        "n_runs": fit.n_runs,
        "chi2_reduced": finite(fit.chi2_reduced),
        "chi2_measurement": finite(fit.chi2_measurement),
        "pulls": dict(fit.pulls),
        "residual_trend": dict(fit.residual_trend),
        "adequacy": None if fit.adequacy is None else asdict(fit.adequacy),
        "profiles": [profile.to_dict() for profile in fit.profiles],
        "ranking": [asdict(score) for score in fit.ranking],
        "points": fit.point.tolist(),
        "residuals": fit.residual.tolist(),
        "notices": [
            {"severity": n.severity.value, "where": n.where, "what": n.what, "do": n.do}
            for n in fit.notices
        ],
        "diagnostics": None if fit.diagnostics is None else fit.diagnostics.to_dict(),
    }


def _fit_from_dict(data: Mapping[str, Any]) -> FrictionFit:
    oil = Oil(**data["oil"]) if data.get("oil") else None
    knots = Knots(**{a: tuple(v) for a, v in data["knots"].items()}) if data.get("knots") else None
    by_name = {entry["name"]: entry["value"] for entry in data["parameters"]}
    theta = np.array([by_name[name] for name in law(data["law"], oil, knots).names])
    components, size = data["components"], theta.size
    estimate = Estimate(
        theta=theta,
        covariance=np.reshape(np.array(data["covariance"], dtype=float), (size, size)),
        components=tuple(entry["name"] for entry in components),
        variances=_column(components, "variance"),
        sensitivity=np.reshape(
            np.array([entry["sensitivity"] for entry in components], dtype=float), (-1, size, size)
        ),
        mean_square=_column(components, "mean_square"),
        estimated=_column(components, "estimated"),
        dof=_column(components, "dof"),
        nesting=np.reshape(
            np.array([entry["nesting"] for entry in components], dtype=float),
            (len(components), len(components)),
        ),
        smooths=tuple(data.get("smooths", ())),
        smoothing=np.array(list(data.get("smooths", {}).values()), dtype=float),
    )
    fit = FrictionFit(
        group=Group(data["material"], data["state"]),
        law=data["law"],
        reference=Reference(**data["reference"]),
        estimate=estimate,
        not_identified=tuple(data["not_identified"]),
        scatter=Scatter(**data["scatter"]),
        envelope=Envelope.from_dict(data["envelope"]),
        n_points=data["n_points"],
        n_packs=data["n_packs"],
        n_runs=data["n_runs"],
        chi2_reduced=_number(data["chi2_reduced"]),
        chi2_measurement=_number(data["chi2_measurement"]),
        pulls=data["pulls"],
        residual_trend=data["residual_trend"],
        ranking=tuple(LawScore(**score) for score in data["ranking"]),
        point=np.array(data["points"], dtype=np.str_),
        residual=np.array(data["residuals"], dtype=float),
        notices=tuple(
            Notice(Severity(n["severity"]), n["where"], n["what"], n["do"]) for n in data["notices"]
        ),
        oil=oil,
        pooling=pooling_from_dict(data.get("pooling")),
        outliers=tuple(map(Outlier.from_dict, data.get("outliers", ()))),
        deletions=tuple(map(Deletion.from_dict, data.get("deletions", ()))),
        diagnostics=Diagnostics.from_dict(told) if (told := data.get("diagnostics")) else None,
        knots=knots,
        adequacy=Adequacy(**tested) if (tested := data.get("adequacy")) else None,
        profiles=tuple(map(ParameterProfile.from_dict, data.get("profiles", ()))),
    )
    check_types(fit, FrictionFit)
    if unknown := set(fit.not_identified) - set(fit.form.names):
        raise ValueError(f"{sorted(unknown)} are no parameters of the law")
    return fit


def _column(entries: list[dict[str, Any]], name: str) -> FloatArray:
    return np.array([entry[name] for entry in entries], dtype=np.float64)


def _number(value: float | None) -> float:
    return np.nan if value is None else float(value)
