"""A log-speed fit made by hand, and the table of it."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Reference
from rigdata.friction.conditions import Conditions
from rigdata.friction.envelope import Envelope, envelope_of
from rigdata.friction.laws.base import Law
from rigdata.friction.laws.registry import law
from rigdata.friction.results import Group, Prediction
from rigdata.tables.build import build_table
from rigdata.tables.table import CoefficientTable

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

REFERENCE = Reference(slip_speed_m_s=0.1, temperature_c=80.0, pressure_mpa=1.0)
GROUP = Group("rough on plain", "new")
THETA = {"mu0": 0.112, "a": 0.0065, "t0": 1.0, "b": -0.0009, "c": -0.06}
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


@dataclass(frozen=True, eq=False)
class HandFit:
    """What a table needs of a fit, with intervals that widen away from the reference."""

    law: str
    theta: FloatArray
    n_packs: int
    envelope: Envelope
    group: Group
    reference: Reference = REFERENCE

    @property
    def covariance(self) -> FloatArray:
        return np.diag((self.theta * np.array([0.01, 0.05, 0.1, 0.1, 0.1])[: self.theta.size]) ** 2)

    @property
    def form(self) -> Law:
        return law(self.law)

    @property
    def parameters(self) -> dict[str, float]:
        return dict(zip(law(self.law).names, self.theta.tolist(), strict=True))

    def predict(self, conditions: Conditions) -> Prediction:
        form, conditions = law(self.law), conditions.after(self.reference.dwell_s)
        mu = form.mu(conditions, self.theta, self.reference)
        slope = form.jacobian(conditions, self.theta, self.reference)
        u = np.sqrt(np.einsum("kp,pq,kq->k", slope, self.covariance, slope))
        more = np.hypot(u, 0.02 * mu) * (4.0 if self.n_packs > 1 else np.nan)
        inside = self.envelope.contains(conditions)
        low, high = mu - more, mu + more
        return Prediction(mu, u, mu - 2 * u, mu + 2 * u, low, high, inside, low, high)


def make_fit(
    *, name: str = "log-speed", packs: int = 3, tested: Conditions | None = None
) -> HandFit:
    if tested is None:
        mesh = np.meshgrid([0.0104, 0.1, 0.987], [41.3, 90.0, 149.1], [0.52, 1.97])
        tested = Conditions(*(part.ravel() for part in mesh))
    theta = np.array([THETA[n] for n in law(name).names])
    return HandFit(name, theta, packs, envelope_of(tested), GROUP)


@pytest.fixture
def provenance() -> dict[str, object]:
    return PROVENANCE


@pytest.fixture
def fit() -> HandFit:
    return make_fit()


@pytest.fixture
def table(fit: HandFit) -> CoefficientTable:
    return build_table(fit, "kinetic", PROVENANCE)


@pytest.fixture
def one_pack_table() -> CoefficientTable:
    return build_table(make_fit(packs=1), "kinetic", PROVENANCE)


@pytest.fixture
def triangle_fit() -> HandFit:
    """High pressure was only tested cold."""
    tested = Conditions(
        np.tile([0.01, 0.1, 1.0], 3), np.repeat([40.0, 150.0, 40.0], 3), np.repeat([0.5, 0.5, 2], 3)
    )
    return make_fit(tested=tested)


@pytest.fixture
def static_fit() -> HandFit:
    tested = Conditions(np.zeros(4), [41.0, 41.0, 148.0, 148.0], [0.5, 2.0, 0.5, 2.0])
    return make_fit(name="constant", tested=tested)


@pytest.fixture
def dwell_fit() -> HandFit:
    """Breakaways at two temperatures and pressures after 1.9 to 58 s at rest."""
    mesh = np.meshgrid(0.0, [41.0, 90.0, 148.0], [0.5, 2.0], [1.9, 10.0, 58.0])
    resting = make_fit(name="dwell", tested=Conditions(*(part.ravel() for part in mesh)))
    return replace(resting, reference=replace(REFERENCE, slip_speed_m_s=0.0, dwell_s=10.0))


@pytest.fixture
def dwell_table(dwell_fit: HandFit) -> CoefficientTable:
    return build_table(dwell_fit, "static", PROVENANCE)


@pytest.fixture
def with_dwell(table: CoefficientTable, dwell_table: CoefficientTable) -> CoefficientTable:
    return replace(table, static=dwell_table)


@pytest.fixture
def two_kinds(fit: HandFit, static_fit: HandFit, provenance: dict[str, object]) -> CoefficientTable:
    static = build_table(static_fit, "static", provenance)
    return replace(build_table(fit, "kinetic", provenance), static=static)
