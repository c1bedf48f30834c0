"""A small made-up set of friction points and their fit, for every figure to draw."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import sparse

from rigdata.campaign.campaign import Reference
from rigdata.comparison.pair_fits import fit_pairs
from rigdata.comparison.ratios import compare_groups, ratios_of
from rigdata.comparison.trait_differences import compare_traits
from rigdata.figures.style import marks_of
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import Group
from rigdata.friction.static import fit_static
from rigdata.reduction.points import FrictionPoints, concatenate
from rigdata.reduction.trace import Trace, TraceWindow
from rigdata.uncertainty.sources import Effect, Scope, Source

HOSTILE = "A$x_1$ & co"  # a pack's name may hold all of this
REFERENCE = Reference(slip_speed_m_s=0.1, temperature_c=80.0, pressure_mpa=0.8)
SOURCES = (
    Source("torque:T1:slope", Scope.RIG, Effect.PROPORTIONAL, "slope of record T1"),
    Source("zero:R1", Scope.RUN, Effect.ADDITIVE, "zero of the torque cell"),
)


def points_of(material, packs, mu0, *, seed):
    """Speed sweeps at two temperatures and two pressures, a bedding run and breakaways."""
    rng = np.random.default_rng(seed)
    rows = []
    for pack in packs:
        level = mu0 * (1.0 + 0.01 * rng.normal())
        plans = [(40.0, 0.8), (80.0, 0.4), (80.0, 1.6), (120.0, 0.8)]
        for t, p in plans:
            for i, v in enumerate((0.01, 0.1, 1.0, 0.3, 0.03)):
                mu = level + 0.004 * np.log(v / 0.1) - 2e-5 * (t - 80.0)
                direction = "up" if i < 3 else "down"
                rows.append((pack, "speed-sweep", "kinetic", direction, v, t, p, mu, np.nan))
        for i in range(4):
            mu = level * (0.9 + 0.02 * i)
            rows.append((pack, "bedding", "kinetic", "-", 0.1, 60.0, 0.8, mu, np.nan))
            rows.append((pack, "breakaway", "static", "-", 0.0, 60.0, 0.8, 1.1 * level, 1.0 + i))
    pack, procedure, kind, direction, v, t, p, mu, dwell = map(np.array, zip(*rows, strict=True))
    n = len(rows)
    mu = mu * (1.0 + 0.004 * rng.normal(size=n))
    run = np.char.add(np.char.add(procedure, " of "), pack)
    used = procedure != "bedding"
    return FrictionPoints(
        point=[f"{name}/{i + 1}" for i, name in enumerate(run)],
        run=run,
        pack=pack,
        material=[material] * n,
        batch=["L1"] * n,
        state=["new"] * n,
        service_hours=np.zeros(n),
        procedure=procedure,
        kind=kind,
        method=["ratio"] * n,
        direction=direction,
        slip_speed_m_s=v,
        temperature_c=t,
        pressure_mpa=p,
        mu=mu,
        u_random=0.004 * mu,
        n_samples=np.full(n, 100),
        n_effective=np.full(n, 10.0),
        start_s=10.0 * np.arange(n),
        end_s=10.0 * np.arange(n) + 5.0,
        dwell_s=dwell,
        used=used,
        reason=np.where(used, "", "bedding"),
        sources=SOURCES,
        contributions=sparse.csr_array(np.stack([0.005 * mu, np.full(n, 3e-4)], axis=1)),
    )


@pytest.fixture(scope="package")
def points():
    return points_of("rough", (HOSTILE, "A2", "A3"), 0.12, seed=1)


@pytest.fixture(scope="package")
def fits(points):
    return fit_campaign(points, REFERENCE, laws=("log-speed",))


@pytest.fixture(scope="package")
def reference():
    return REFERENCE


@pytest.fixture(scope="package")
def marks():
    return marks_of([Group("rough", "new")])


@pytest.fixture(scope="package")
def trace():
    time = np.linspace(0.0, 100.0, 400)
    load = np.where((time > 5.0) & (time < 95.0), 8000.0, 0.0)
    return Trace(
        run="R1",
        procedure="bedding",
        pack=HOSTILE,
        time_s=time,
        torque_raw_nm=0.004 * load + 2.0,
        torque_nm=0.004 * load,
        clamp_load_n=load,
        slip_speed_rad_s=np.full(400, 2.0),
        plate_temperature_c=60.0 + 0.1 * time,
        windows=(
            TraceWindow("R1/1", 10.0, 20.0, used=True),
            TraceWindow("R1/2", 30.0, 40.0, used=False),
        ),
    )


@pytest.fixture(scope="package")
def ratio(points, fits):
    """The rough material against a plain one measured on the same records."""
    plain = points_of("plain", ("B1", "B2", "B3"), 0.10, seed=2)
    both = concatenate([points, plain])
    both_fits = fits | fit_campaign(plain, REFERENCE, laws=("log-speed",))
    return compare_groups(both, both_fits, baseline="plain", reference=REFERENCE)[0]


@pytest.fixture(scope="package")
def compared(points, fits):
    """Rough over plain, worn over new, traits and fits; the worn packs are the new ones again."""
    plain = points_of("plain", ("B1", "B2", "B3"), 0.10, seed=2)
    names = {name: np.char.add(getattr(points, name), "w") for name in ("pack", "run", "point")}
    worn = replace(points, state=np.full(len(points), "worn"), **names)
    every = concatenate([points, plain, worn])
    laws = fits | fit_campaign(concatenate([plain, worn]), REFERENCE, laws=("log-speed",))
    pairs = fit_pairs(every, laws, baseline="plain", reference=REFERENCE)
    static, _ = fit_static(every, REFERENCE)
    rough, in_service = ratios_of(pairs)
    return rough, in_service, compare_traits(pairs[:1], every, static), laws
