"""Tables made by hand: mu = mu0 (v/0.1)^a exp(b (T - 80)) p^c."""

from __future__ import annotations

import numpy as np

from rigdata.friction.conditions import Conditions
from rigdata.friction.envelope import envelope_of
from rigdata.tables.table import CoefficientTable

SPEEDS = np.geomspace(0.005, 1.0, 60)
TEMPERATURES = np.linspace(40.0, 160.0, 13)
PRESSURES = np.geomspace(0.2, 4.0, 25)


def made_table(
    mu0=0.12, a=0.0, b=0.0, c=0.0, *, shares=None, pack_sd=0.0, kind="kinetic", material="plain"
):
    """A table whose errors are `shares`, relative to mu, by cause; its intervals are 1.96 u."""
    speeds = np.array([0.0]) if kind == "static" else SPEEDS
    v, t, p = np.meshgrid(speeds, TEMPERATURES, PRESSURES, indexing="ij")
    mu = mu0 * np.maximum(v / 0.1, 1e-9) ** a * np.exp(b * (t - 80.0)) * p**c
    shares = shares or {"gain@1": 0.02}
    u = mu * np.sqrt(sum(share**2 for share in shares.values()))
    half, more = 1.959963984540054 * u, 1.959963984540054 * np.hypot(u, pack_sd * mu)
    nodes = [mu, u, mu - half, mu + half, mu - more, mu + more]
    return CoefficientTable(
        material=material,
        state="new",
        kind=kind,
        slip_speed_m_s=speeds,
        temperature_c=TEMPERATURES,
        pressure_mpa=PRESSURES,
        nodes=np.stack(nodes),
        inside_envelope=np.ones(mu.shape, dtype=bool),
        law="by hand",
        parameters=(),
        reference=(speeds[0] if kind == "static" else 0.1, 80.0, 1.0),
        envelope=envelope_of(Conditions(v.ravel(), t.ravel(), p.ravel())),
        tolerance=0.005,
        error=0.0,
        provenance={},
        causes=tuple(shares),
        components=np.stack([share * mu for share in shares.values()]),
    )
