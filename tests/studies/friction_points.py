"""Friction points drawn from a known truth, with the errors that they say they carry."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import sparse

from rigdata.campaign.campaign import Oil, Reference
from rigdata.friction.conditions import Conditions
from rigdata.friction.laws.registry import law
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.sources import Effect, Scope, Source

REFERENCE = Reference(slip_speed_m_s=0.1, temperature_c=80.0, pressure_mpa=1.0)
OIL = Oil("gear oil", 73.3, 8.86)
THETA = {
    "constant": (0.12,),
    "log-speed": (0.12, -0.004, -0.0008, -0.06),
    "stribeck": (0.10, 0.14, 0.05, 1.0, 0.005, -0.0008, -0.06),
    "quadratic": (0.12, -0.04, -0.05, -0.06, 0.012, 0.03, 0.05, 0.02, -0.03, 0.04),
    "hersey": (0.10, 0.14, 0.5, 1.0, 0.002, -0.06),
}
BUMP_SPEED, BUMP_WIDTH = 0.1, 0.5  # m/s, and in ln v
DWELL_THETA = (0.13, 0.0012, 1.0, -0.0008, -0.06)


@dataclass(frozen=True)
class Truth:
    """What the points of one group are drawn from; spreads are relative to mu."""

    material: str = "rough"
    state: str = "new"
    law: str = "log-speed"
    theta: tuple[float, ...] = THETA["log-speed"]
    packs: int = 3
    runs: tuple[int, int] = (4, 6)  # of a pack, least and most
    points: tuple[int, int] = (8, 15)  # of a run
    layout: tuple[tuple[int, ...], ...] = ()  # points of each run of each pack, instead
    pack_sd: float = 0.02
    run_sd: float = 0.005
    point_sd: float = 0.008  # told to the fit as the random part
    misfit_sd: float = 0.0  # not told to the fit
    gain_u: float = 0.005  # one torque calibration for all
    radius_u: float = 0.003  # one for each pack
    zero_u: float = 0.0003  # one for each run, at 1 MPa
    kind: str = "kinetic"
    speeds: tuple[float, float] = (0.01, 1.0)
    temperatures: tuple[float, float] = (40.0, 120.0)
    pressures: tuple[float, float] = (0.5, 2.0)
    settings: tuple[tuple[float, float], ...] = ()  # temperature and pressure of each run, in turn
    dwells: tuple[float, float] | None = None  # of the breakaways of a run
    bump: float = 0.0  # a rise that no law follows, at BUMP_SPEED
    batch: str = field(default="B1")
    record: str = "T1"  # the torque calibration

    def mu(self, where: Conditions) -> np.ndarray:
        """The true mean of all packs."""
        plain = law(self.law, OIL).mu(where, np.array(self.theta), REFERENCE)
        if not self.bump:
            return plain
        place = np.log(where.slip_speed_m_s / BUMP_SPEED) / BUMP_WIDTH
        return plain * (1.0 + self.bump * np.exp(-0.5 * place**2))


def drawn(truth: Truth, rng: np.random.Generator, gain: float | None = None) -> FrictionPoints:
    """Draw the points of one group; `gain` is the calibration's error in its uncertainty."""
    gain = rng.normal() if gain is None else gain
    columns, contributions = defaultdict(list), []
    for i in range(len(truth.layout) or truth.packs):
        pack = f"{truth.material}-{truth.state}-{i + 1}"
        pack_error, radius = rng.normal(size=2)
        sizes = truth.layout[i] if truth.layout else _random_sizes(truth, rng)
        for j, n in enumerate(sizes):
            run = f"{pack}-{'s' if truth.kind == 'static' else ''}{j + 1}"
            run_error, zero = rng.normal(size=2)
            where = _sweep(truth, rng, n, j)
            spread = 1.0 + truth.pack_sd * pack_error + truth.run_sd * run_error
            mean = truth.mu(where) * (spread + truth.misfit_sd * rng.normal(size=n))
            bias = truth.zero_u / where.pressure_mpa
            scale = 1.0 + truth.gain_u * gain + truth.radius_u * radius
            mu = mean * (scale + truth.point_sd * rng.normal(size=n)) + bias * zero
            rows = {
                "point": [f"{run}/{k}" for k in range(n)],
                "run": [run] * n,
                "pack": [pack] * n,
                "slip_speed_m_s": where.slip_speed_m_s * (truth.kind == "kinetic"),
                "temperature_c": where.temperature_c,
                "pressure_mpa": where.pressure_mpa,
                "dwell_s": where.dwell_s,
                "mu": mu,
                "u_random": truth.point_sd * mean,
            }
            for name, values in rows.items():
                columns[name].extend(values)
            named = {
                f"torque:{truth.record}:slope": truth.gain_u * mu,
                f"outer-radius:{pack}": truth.radius_u * mu,
                f"zero:{run}": bias,
            }
            contributions += [{name: v[k] for name, v in named.items()} for k in range(n)]
    return _points(truth, columns, contributions)


def spoiled(points: FrictionPoints, which: np.ndarray, factor: float) -> FrictionPoints:
    """The same points with some coefficients off by a factor, and nothing told of it."""
    scale = np.where(which, factor, 1.0)
    told = sparse.csr_array(points.contributions.multiply(scale[:, None]))
    return replace(
        points, mu=points.mu * scale, u_random=points.u_random * scale, contributions=told
    )


def _random_sizes(truth: Truth, rng: np.random.Generator) -> Iterator[int]:
    """Points of each run of one pack, each number drawn when its run comes up."""
    for _ in range(rng.integers(truth.runs[0], truth.runs[1] + 1)):
        yield int(rng.integers(truth.points[0], truth.points[1] + 1))


def _sweep(truth: Truth, rng: np.random.Generator, n: int, run: int) -> Conditions:
    """One speed sweep: the plates warm a little on the way."""
    if truth.settings:
        temperature, pressure = truth.settings[run % len(truth.settings)]
        return Conditions(np.geomspace(*truth.speeds, n), temperature, pressure)
    low, high = truth.temperatures
    warm = rng.uniform(low, high) + min(8.0, (high - low) / 4) * np.linspace(0.0, 1.0, n)
    dwell = np.geomspace(*truth.dwells, n) if truth.dwells else np.nan
    return Conditions(np.geomspace(*truth.speeds, n), warm, rng.uniform(*truth.pressures), dwell)


def _points(truth, columns, contributions) -> FrictionPoints:
    n = len(columns["mu"])
    names = list(dict.fromkeys(name for row in contributions for name in row))
    place = {name: i for i, name in enumerate(names)}
    matrix = sparse.lil_array((n, len(names)))
    for i, row in enumerate(contributions):
        for name, value in row.items():
            if value != 0.0:
                matrix[i, place[name]] = value
    text = {"material": truth.material, "batch": truth.batch, "state": truth.state,
            "procedure": "speed-sweep", "kind": truth.kind, "method": "ratio",
            "direction": "-", "reason": ""}  # fmt: skip
    numbers = {"service_hours": 0.0, "n_samples": 100, "n_effective": 30.0, "start_s": 0.0,
               "end_s": 1.0, "used": True}  # fmt: skip
    return FrictionPoints(
        **columns,
        **{name: np.full(n, value) for name, value in {**text, **numbers}.items()},
        sources=tuple(_source(name) for name in names),
        contributions=matrix.tocsr(),
    )


def _source(name: str) -> Source:
    scope = {"torque": Scope.RIG, "outer-radius": Scope.PACK, "zero": Scope.RUN}
    kind = name.split(":")[0]
    effect = Effect.ADDITIVE if kind == "zero" else Effect.PROPORTIONAL
    return Source(name, scope[kind], effect, name)
