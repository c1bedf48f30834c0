"""Small campaigns on the virtual rig, and what the package makes of them."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rigdata.campaign.campaign import read_campaign
from rigdata.comparison.ratios import compare_groups
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import ConstantCurve, LogCurve, Material, StribeckCurve

CURVES = {
    "constant": (ConstantCurve(0.140), ConstantCurve(0.098)),
    "log-speed": (LogCurve(0.145, 0.0035, 0.1), LogCurve(0.100, -0.0020, 0.1)),
    "stribeck": (
        StribeckCurve(0.135, 0.150, 0.10, 0.9, 0.004),
        StribeckCurve(0.088, 0.108, 0.15, 0.8, 0.002),
    ),
}
REFERENCE = (0.1, 90.0, 1.5)
# Slip speed, temperature and pressure at which coverage is counted, all inside the tests.
PLACES = Conditions([0.1, 0.02, 0.6], [90.0, 75.0, 100.0], [1.5, 1.2, 1.4])


def materials(law: str) -> tuple[Material, Material]:
    """Two materials that follow one law, the second the baseline."""
    rough, plain = CURVES[law]
    # A constant law knows neither temperature nor pressure.
    exponents = (0.0, 0.0, 0.0, 0.0) if law == "constant" else (-5e-4, -0.03, -9e-4, -0.02)
    return (
        Material("rough", "rough", "plain", rough, "", exponents[0], exponents[1]),
        Material("plain", "plain", "plain", plain, "", exponents[2], exponents[3]),
    )


def plan(law: str, packs: int = 3, rate_hz: float = 20.0) -> CampaignSpec:
    """Two materials, each with a few packs and five short friction runs a pack."""
    designs, runs = [], []
    for material in materials(law):
        for number in range(1, packs + 1):
            pack = PackDesign(f"{material.name}-{number}", material.name)
            designs.append(pack)
            for name, commands in _programme(pack, rate_hz).items():
                runs.append(RunDesign(f"{pack.name}-{name}", pack.name, commands))
    return CampaignSpec(
        name=f"coverage of {law}",
        baseline="plain",
        rig=RigDesign(),
        materials=materials(law),
        packs=tuple(designs),
        runs=tuple(runs),
        reference=REFERENCE,
        oil={
            "name": "gear oil",
            "kinematic_viscosity_40c_mm2_s": 172.0,
            "kinematic_viscosity_100c_mm2_s": 24.5,
        },
    )


def _programme(pack: PackDesign, rate_hz: float) -> dict[str, procedures.Profile]:
    def sweep(pressure: float, oil_c: float) -> procedures.Profile:
        return procedures.speed_sweep(
            load_n=pack.load_n(pressure), oil_c=oil_c, way_s=12.0, rate_hz=rate_hz
        )

    return {
        "drag": procedures.drag(cold_c=50.0, hot_c=115.0, top_m_s=1.6, hold_s=2.0, rate_hz=rate_hz),
        "sweep-1": sweep(1.5, 60.0),
        "sweep-2": sweep(0.8, 90.0),
        "sweep-3": sweep(2.2, 110.0),
        "load": procedures.load_sweep(
            low_n=pack.load_n(0.4),
            top_n=pack.load_n(2.4),
            speed_m_s=0.1,
            oil_c=85.0,
            way_s=12.0,
            rate_hz=rate_hz,
        ),
        "steady": procedures.steady(
            load_n=pack.load_n(1.5), speed_m_s=0.1, oil_c=85.0, seconds=12.0, rate_hz=rate_hz
        ),
    }


@dataclass(frozen=True)
class Outcome:
    """What one campaign gave at each place, each array (materials, places) or (places,)."""

    law_found: tuple[str, ...]
    mean_inside: np.ndarray
    next_share: np.ndarray  # share of all packs to come that the interval holds
    error_over_u: np.ndarray
    ratio_inside: np.ndarray
    u_ratio: float
    u_means: tuple[float, ...]
    left_out: int


def one_campaign(law: str, seed: int, spec: CampaignSpec | None = None) -> Outcome:
    """Simulate a campaign, reduce it without knowing the truth, and hold it against it."""
    spec = plan(law) if spec is None else spec
    with tempfile.TemporaryDirectory() as folder:
        truth = simulate_campaign(spec, seed, Path(folder))
        campaign = read_campaign(Path(folder))
        reduction = reduce_campaign(campaign)
    fits = fit_campaign(reduction.points, campaign.reference)
    by_material = {group.material: fit for group, fit in fits.items()}
    mean, nxt, error = [], [], []
    for material in spec.materials:
        true_mu = truth.mu(
            material.name,
            "new",
            PLACES.slip_speed_m_s,
            PLACES.temperature_c,
            PLACES.pressure_mpa,
        )
        found = by_material[material.name].predict(PLACES)
        mean.append((found.mean_low <= true_mu) & (true_mu <= found.mean_high))
        factors = 1 + material.pack_scatter * _NORMAL
        packs = true_mu[:, None] * factors
        held = (found.next_pack_low[:, None] <= packs) & (packs <= found.next_pack_high[:, None])
        nxt.append(held.mean(axis=1))
        error.append((found.mu - true_mu) / found.u_mu)
    ratios = compare_groups(
        reduction.points, fits, baseline=spec.baseline, reference=campaign.reference
    )
    ratio = ratios[0]
    v, t, p = REFERENCE
    true_ratio = float(truth.mu("rough", "new", v, t, p) / truth.mu("plain", "new", v, t, p))
    low, high = float(np.ravel(ratio.low)[0]), float(np.ravel(ratio.high)[0])
    return Outcome(
        law_found=tuple(by_material[m.name].law for m in spec.materials),
        mean_inside=np.array(mean),
        next_share=np.array(nxt),
        error_over_u=np.array(error),
        ratio_inside=np.array(low <= true_ratio <= high),
        u_ratio=float(np.ravel(ratio.u_ratio)[0]),
        u_means=tuple(
            float(
                (by_material[m.name].predict(PLACES).u_mu / by_material[m.name].predict(PLACES).mu)[
                    0
                ]
            )
            for m in spec.materials
        ),
        left_out=len(reduction.left_out),
    )


_NORMAL = np.random.default_rng(20).normal(size=4000)


def without_scatter(spec: CampaignSpec) -> CampaignSpec:
    """The same campaign with packs and runs that are all alike."""
    alike = tuple(replace(m, pack_scatter=0.0, run_scatter=0.0) for m in spec.materials)
    return replace(spec, materials=alike)
