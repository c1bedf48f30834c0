"""Budgets of a point and of a fitted ratio against GTC, an independent GUM implementation.

GTC 1.5 (MIT licence) gets each error as an uncertain number of its own and the
formulas written anew.
"""

import sys
from pathlib import Path

import GTC
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.pair_fits import fit_pair
from rigdata.friction.budget import joint_solution, point_budget, solution_budget
from rigdata.friction.causes import RANDOM
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign, split
from rigdata.friction.results import Group
from rigdata.reduction.points import FrictionPoints, concatenate
from rigdata.uncertainty.sources import Effect, Scope, Source

ROUGH, PLAIN = Group("rough", "new"), Group("plain", "new")
WHERE = Conditions(0.05, 90.0, 1.4)


def test_a_point_with_few_readings_behind_it() -> None:
    """mu = T / (N r F) with torque gain and zero, load gain and radii: u, parts and dof."""
    torque, load, faces, outer, inner = 50.0, 1500.0, 2, 0.073075, 0.060275
    causes = {  # name: (relative size or newton metres, dof)
        "torque:T1:slope": (0.005, 7.0),
        "clamp-load:L1:slope": (0.004, 16.0),
        "zero:R1": (0.2, 9.0),
        "noise": (0.1, 4.0),
    }
    z = {name: GTC.ureal(0.0, 1.0, dof, label=name) for name, (_, dof) in causes.items()}
    edge = {name: GTC.ureal(0.0, 1.0, label=name) for name in ("outer-radius:P", "inner-radius:P")}
    ro, ri = outer + 5e-5 * edge["outer-radius:P"], inner + 5e-5 * edge["inner-radius:P"]
    radius = 2 * (ro**3 - ri**3) / (3 * (ro**2 - ri**2))
    zero, noise = (causes[name][0] * z[name] for name in ("zero:R1", "noise"))
    t = torque * (1 + causes["torque:T1:slope"][0] * z["torque:T1:slope"]) + zero + noise
    f = load * (1 + causes["clamp-load:L1:slope"][0] * z["clamp-load:L1:slope"])
    mu = t / (faces * radius * f)

    named = {**{name: z[name] for name in causes if name != "noise"}, **edge}
    effects = {name: GTC.rp.u_component(mu, each) for name, each in named.items()}
    dofs = {name: causes[name][1] if name in causes else np.inf for name in named}
    sources = tuple(
        Source(name, Scope.RIG, Effect.PROPORTIONAL, name, dof=dofs[name]) for name in named
    )
    one = {name: np.array([0.0]) for name in ("slip_speed_m_s", "temperature_c", "pressure_mpa")}
    text = {n: np.array(["x"]) for n in ("run", "pack", "material", "batch", "state", "procedure",
                                         "kind", "direction", "reason")}  # fmt: skip
    points = FrictionPoints(
        point=["R1/1"], **one, **text, method=["ratio"], service_hours=[0.0], mu=[mu.x],
        u_random=[abs(GTC.rp.u_component(mu, z["noise"]))], n_samples=[500], n_effective=[6.0],
        start_s=[0.0], end_s=[1.0], dwell_s=[np.nan], used=[True], sources=sources,
        contributions=np.array([list(effects.values())]),
    )  # fmt: skip
    budget = point_budget(points, "R1/1")
    assert budget.value == pytest.approx(0.249203392437, rel=1e-10)
    assert budget.u == pytest.approx(mu.u, rel=1e-12)
    assert budget.dof == pytest.approx(mu.df, rel=1e-9)
    ranked = [entry.label for entry in GTC.rp.budget(mu)]
    assert [c.name for c in budget.causes] == [n if n != "noise" else RANDOM for n in ranked]
    coverage = GTC.rp.k_factor(mu.df, 95)
    assert budget.high - budget.value == pytest.approx(coverage * mu.u, rel=1e-6)


@pytest.fixture(scope="module")
def solution():
    rng = np.random.default_rng(21)
    rough = Truth(packs=3, runs=(2, 3), points=(5, 7), pack_sd=0.03)
    plain = Truth(material="plain", theta=(0.1, -0.002, -0.0005, -0.03), packs=2, runs=(2, 3),
                  points=(5, 7), pack_sd=0.03)  # fmt: skip
    points = concatenate([drawn(truth, rng, gain=0.5) for truth in (rough, plain)])
    fits = fit_campaign(points, REFERENCE, laws=["log-speed"])
    return joint_solution(fit_pair(split(points, "kinetic"), fits, ROUGH, PLAIN))


def test_a_fitted_ratio(solution) -> None:
    """Generalised least squares written out in full, over uncertain numbers."""
    estimate = solution.estimate
    blocks = solution.design.blocks
    points = concatenate([block.points for block in blocks])
    theta = np.split(estimate.theta, 2)

    def law(at, parts):
        mu0, a, b, c = parts
        v, t, p = (at.slip_speed_m_s / 0.1, at.temperature_c - 80.0, at.pressure_mpa / 1.0)
        return [
            (mu0 + a * np.log(vi)) * GTC.exp(b * ti + c * np.log(pi))
            for vi, ti, pi in zip(v.tolist(), t.tolist(), p.tolist(), strict=True)
        ]

    where = [Conditions(b.points.slip_speed_m_s, b.points.temperature_c, b.points.pressure_mpa)
             for b in blocks]  # fmt: skip
    curve = np.concatenate([[float(GTC.value(y)) for y in law(w, t)]
                            for w, t in zip(where, theta, strict=True)])  # fmt: skip
    # Every error with its effect on every point; those in proportion taken at the curve.
    columns = {}
    for j, source in enumerate(points.sources):
        column = points.contributions.toarray()[:, j]
        scaled = column * curve / points.mu if source.effect is Effect.PROPORTIONAL else column
        columns[source.id] = scaled
    sd = dict(zip(estimate.components, np.sqrt(estimate.variances), strict=True))
    for k, material in enumerate(("rough", "plain")):
        own = points.material == material
        for kind, names in (("pack", points.pack), ("run", points.run), ("misfit", points.point)):
            for name in dict.fromkeys(names[own].tolist()):
                size = sd.get(f"{kind} {k}", 0.0)
                columns[f"{kind} of {name}"] = size * curve * (names == name)
    for i, name in enumerate(points.point.tolist()):
        columns[f"noise of {name}"] = points.u_random[i] * (np.arange(len(points)) == i)
    matrix = np.stack(list(columns.values()), axis=1)
    inverse = np.linalg.inv(matrix @ matrix.T)

    step = 1e-6
    design = np.zeros((len(points), 8))
    for k, (w, t, rows) in enumerate(zip(where, theta, solution.design.rows, strict=True)):
        for q in range(4):
            sides = [law(w, t + s * step * np.eye(4)[q] * max(abs(t[q]), 0.01)) for s in (1, -1)]
            high, low = (np.array([float(GTC.value(y)) for y in side]) for side in sides)
            design[rows, 4 * k + q] = (high - low) / (2 * step * max(abs(t[q]), 0.01))
    weights = np.linalg.solve(design.T @ inverse @ design, design.T @ inverse)

    z = {name: GTC.ureal(0.0, 1.0, label=name) for name in columns}
    moved = weights @ matrix
    fitted = [
        value + sum(float(e) * z[name] for name, e in zip(columns, row, strict=True) if e)
        for value, row in zip(estimate.theta.tolist(), moved, strict=True)
    ]
    (numerator,), (denominator,) = law(WHERE, fitted[:4]), law(WHERE, fitted[4:])
    ratio = numerator / denominator

    budget = solution_budget(solution, WHERE)
    assert budget.value == pytest.approx(ratio.x, rel=1e-9)
    assert budget.u == pytest.approx(ratio.u, rel=1e-6)
    told = {cause.name: cause.effect for cause in budget.causes if cause.is_source}
    assert set(told) <= {source.id for source in points.sources}
    for source in points.sources:
        expected = GTC.rp.u_component(ratio, z[source.id])
        assert told.get(source.id, 0.0) == pytest.approx(expected, rel=1e-5, abs=1e-7 * ratio.u)
    for label, kind in (("scatter between packs", "pack"), ("scatter between runs", "run")):
        shares = [GTC.rp.u_component(ratio, z[n]) ** 2 for n in z if n.startswith(f"{kind} of")]
        expected = np.sqrt(sum(shares))
        found = next((s.u for s in budget.by_kind if s.cause == label), 0.0)
        assert found == pytest.approx(expected, rel=1e-5, abs=1e-9)
    noise = np.sqrt(sum(GTC.rp.u_component(ratio, z[n]) ** 2 for n in z if n.startswith("noise")))
    assert next(s.u for s in budget.by_kind if s.cause == RANDOM) == pytest.approx(noise, rel=1e-5)
