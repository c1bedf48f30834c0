"""A log-speed fit made by hand, and the table of it."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.friction.conditions import Conditions
from rigdata.friction.envelope import envelope_of
from rigdata.friction.estimate import Estimate
from rigdata.friction.laws.registry import law
from rigdata.friction.results import FrictionFit, Group, Scatter
from rigdata.tables.build import build_table
from rigdata.tables.table import CoefficientTable

REFERENCE = SimpleNamespace(slip_speed_m_s=0.1, temperature_c=80.0, pressure_mpa=1.0)
THETA = {"mu0": 0.112, "a": 0.0065, "b": -0.0009, "c": -0.06}
PROVENANCE = {
    "program": "rigdata",
    "version": "0.1.0",
    "campaign": "made by hand",
    "date": "2026-03-01",
    "friction_plate": "rough",
    "mating_plate": "plain",
    "packs": ["007", "A2"],
    "runs": ["R1", "R2"],
    "points": 40,
    "records": [{"id": "TC-1", "sha256": "0" * 64}],
}


def make_fit(
    *, name: str = "log-speed", packs: int = 3, tested: Conditions | None = None
) -> FrictionFit:
    form = law(name)
    theta = np.array([THETA[n] for n in form.names])
    u = np.abs(theta) * np.array([0.01, 0.05, 0.1, 0.1])[: theta.size]
    if tested is None:
        mesh = np.meshgrid([0.0104, 0.1, 0.987], [41.3, 90.0, 149.1], [0.52, 1.97])
        tested = Conditions(*(part.ravel() for part in mesh))
    components = ("pack", "misfit") if packs > 1 else ("misfit",)
    c = len(components)
    sensitivity = np.zeros((c, theta.size, theta.size))
    if packs > 1:
        sensitivity[0, 0, 0] = theta[0] ** 2 / packs
    estimate = Estimate(
        theta=theta,
        covariance=np.diag(u**2),
        components=components,
        variances=np.full(c, 2e-4),
        component_covariance=np.diag(np.full(c, 1e-8)),
        sensitivity=sensitivity,
    )
    return FrictionFit(
        group=Group("rough on plain", "new"),
        law=name,
        reference=REFERENCE,
        estimate=estimate,
        not_identified=(),
        scatter=Scatter(0.014 if packs > 1 else None, None, 0.01),
        envelope=envelope_of(tested),
        n_points=40,
        n_packs=packs,
        n_runs=2,
        chi2_reduced=1.0,
        chi2_measurement=1.2,
        pulls={},
        residual_trend={},
        ranking=(),
        point=np.array(["R1/1"]),
        residual=np.array([0.0]),
        notices=(),
    )


@pytest.fixture
def provenance() -> dict[str, object]:
    return PROVENANCE


@pytest.fixture
def fit() -> FrictionFit:
    return make_fit()


@pytest.fixture
def table(fit: FrictionFit) -> CoefficientTable:
    return build_table(fit, "kinetic", PROVENANCE)


@pytest.fixture
def one_pack_table() -> CoefficientTable:
    return build_table(make_fit(packs=1), "kinetic", PROVENANCE)


@pytest.fixture
def triangle_fit() -> FrictionFit:
    """High pressure was only tested cold."""
    tested = Conditions(
        np.tile([0.01, 0.1, 1.0], 3), np.repeat([40.0, 150.0, 40.0], 3), np.repeat([0.5, 0.5, 2], 3)
    )
    return make_fit(tested=tested)


@pytest.fixture
def static_fit() -> FrictionFit:
    tested = Conditions(np.zeros(4), [41.0, 41.0, 148.0, 148.0], [0.5, 2.0, 0.5, 2.0])
    return make_fit(name="constant", tested=tested)


@pytest.fixture
def two_kinds(
    fit: FrictionFit, static_fit: FrictionFit, provenance: dict[str, object]
) -> CoefficientTable:
    static = build_table(static_fit, "static", provenance)
    return replace(build_table(fit, "kinetic", provenance), static=static)
