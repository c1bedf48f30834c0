"""How well a planned layout will know mu at the reference, and what differences it will show.

The answers come from the fit's own algebra at the layout planned (`solution_at`): the
covariance follows from where the points lie, from their errors and from the scatter, and
not from the coefficients that will be measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import optimize, sparse, special

from rigdata.arrays import BoolArray, FloatArray, TextArray
from rigdata.campaign.campaign import Reference
from rigdata.comparison.verdict import LEVEL
from rigdata.friction.budget import quantity_of, solution_budget
from rigdata.friction.causes import Budget
from rigdata.friction.conditions import Conditions, at, shown_axes
from rigdata.friction.design import Block, assemble
from rigdata.friction.estimate import kind_of
from rigdata.friction.laws.base import Law
from rigdata.friction.nesting import numbered
from rigdata.friction.solution import Solution, solution_at
from rigdata.planning.candidates import PlannedTest
from rigdata.planning.expected import Expected
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.degrees import coverage_factor, interval_dof
from rigdata.uncertainty.sources import Scope, Source

_DRAWS, _SEED = 10_000, 1  # of mean squares, the same for every layout
_NOTHING = 1e-9  # share of a variance that is rounding
_FAR = 10.0  # standard uncertainties beyond every interval


@dataclass(frozen=True)
class Predicted:
    """What the tests will tell of one number; both relative to it.

    Attributes
    ----------
    words : str
        What the number is.
    u, half_width : float
        Standard uncertainty, and half the 95 % interval as it will be in the mean.
    resolvable : float
        Smallest difference that shows with the power asked for; NaN for a single mu.
    budget : Budget
        What the uncertainty comes from.
    """

    words: str
    u: float
    half_width: float
    resolvable: float
    budget: Budget


def precision_of_mu(
    label: str, known: Expected, programme: Sequence[PlannedTest], packs: int, reference: Reference
) -> Predicted:
    """Return what `packs` packs of one group, tested by `programme`, will tell of mu."""
    planned = planned_solution({label: known}, programme, packs, reference)
    return _predicted(label, planned, at(reference))


def precision_of_ratio(
    groups: Mapping[str, Expected],
    programme: Sequence[PlannedTest],
    packs: int,
    reference: Reference,
    *,
    power: float,
    comparisons: int,
) -> Predicted:
    """Return what the tests will tell of the ratio of two groups.

    Parameters
    ----------
    groups : mapping of label to Expected
        Two groups, the second the one to compare with.
    programme : sequence of PlannedTest
        Tests of a pack.
    packs : int
        Packs of each.
    reference : Reference
    power : float
        Probability with which the resolvable difference is to show.
    comparisons : int
        Comparisons made together; the level of each is divided by them, which is the
        first and hardest step of Holm's correction.

    Notes
    -----
    The difference counts as shown where its interval leaves 0 out.  With the half widths
    `h` that so few packs will lead to, a true difference of `d` is shown with the probability
    ``E Phi((d - h) / u)``.
    """
    solution = planned_solution(groups, programme, packs, reference)
    told = _predicted(" against ".join(groups), solution, at(reference))
    half = _half_widths(solution, at(reference), 1.0 - LEVEL / comparisons)

    def lacking(difference: float) -> float:
        return power - float(np.mean(special.ndtr((difference - half) / told.u)))

    enough = float(half.max()) + _FAR * told.u
    shown = float(np.expm1(optimize.brentq(lacking, 0.0, enough)))
    return replace(told, resolvable=shown)


def planned_solution(
    groups: Mapping[str, Expected],
    programme: Sequence[PlannedTest],
    packs: int,
    reference: Reference,
) -> Solution:
    """Return the fit that tests will give if all comes as expected, before they are made."""
    blocks = []
    for label, known in groups.items():
        points = planned_points(label, known, programme, packs, reference)
        held = {
            name: float(value)
            for name, value, free in zip(
                known.law.names, known.theta, shown(known.law, points_at(programme)), strict=True
            )
            if not free
        }
        blocks.append(Block(label, points, known.law, held))
    design = assemble(blocks, reference)
    sizes = [{"pack": e.pack, "run": e.run, "misfit": e.misfit} for e in groups.values()]
    variances = [
        sizes[int(name.split()[1]) if " " in name else 0][kind_of(name)] ** 2
        for name in design.unknown
    ]
    theta = np.concatenate([known.theta for known in groups.values()])
    return solution_at(design, theta, design.free, np.array(variances))


def shown(law: Law, where: Conditions) -> BoolArray:
    """(p,) which parameters of a law tests at these conditions can show."""
    axes, hidden = shown_axes(where), law.undetermined(where)
    return np.array([set(p.axes) <= axes and p.name not in hidden for p in law.parameters])


def points_at(tests: Sequence[PlannedTest]) -> Conditions:
    """Return where the friction points of some tests will lie, one test after another."""
    names = ("slip_speed_m_s", "temperature_c", "pressure_mpa")
    return Conditions(
        *(np.concatenate([getattr(test.points, name) for test in tests]) for name in names)
    )


def planned_points(
    label: str, known: Expected, programme: Sequence[PlannedTest], packs: int, reference: Reference
) -> FrictionPoints:
    """Return the points that the tests will give, on the curve expected, with their sources."""
    giving = [test for test in programme if len(test.points)]
    where, sizes = points_at(giving), [len(test.points) for test in giving]
    mu = known.law.mu(where, known.theta, reference)
    procedure = np.repeat([test.procedure for test in giving], sizes)
    number = np.repeat(np.arange(len(giving)), sizes)
    n = mu.size
    pack = np.repeat([f"{label} {i + 1}" for i in range(packs)], n)
    run = np.array([f"{p}-{k + 1}" for p, k in zip(pack, np.tile(number, packs), strict=True)])
    repeated = Conditions(
        *(
            np.tile(a, packs)
            for a in (where.slip_speed_m_s, where.temperature_c, where.pressure_mpa)
        )
    )
    curve, procedures = np.tile(mu, packs), np.tile(procedure, packs)
    own = _noise(known, procedures, curve, repeated)
    owners = {Scope.RIG: np.full(curve.size, "rig"), Scope.PACK: pack, Scope.RUN: run}
    sources, contributions = _shared(known, owners, procedures, repeated, curve)
    same: dict[str, str | float] = {
        "material": label,
        "batch": "1",
        "state": "new",
        "kind": "kinetic",
        "method": "ratio",
        "direction": "-",
        "reason": "",
        "service_hours": 0.0,
        "n_samples": 1,
        "n_effective": 1.0,
        "start_s": 0.0,
        "end_s": 1.0,
        "dwell_s": np.nan,
        "used": True,
    }
    columns: dict[str, Any] = {name: np.full(curve.size, value) for name, value in same.items()}
    return FrictionPoints(
        point=np.array([f"{name}/{i}" for i, name in enumerate(run)]),
        run=run,
        pack=pack,
        procedure=procedures,
        slip_speed_m_s=repeated.slip_speed_m_s,
        temperature_c=repeated.temperature_c,
        pressure_mpa=repeated.pressure_mpa,
        mu=curve,
        u_random=own,
        sources=sources,
        contributions=contributions,
        **columns,
    )


def information(
    known: Expected, tests: Sequence[PlannedTest], reference: Reference, free: BoolArray
) -> FloatArray:
    """Return what each test, made once, tells of the free parameters, (k, p, p).

    ``X^T V^-1 X`` with the derivatives X of mu and V from the scatter of points and runs and
    from the errors of a run.  What a pack or the rig has of its own stays out: all tests of a
    pack share it, so it moves the level and not the choice among them.
    """
    found = []
    for test in tests:
        where = test.points
        mu = known.law.mu(where, known.theta, reference)
        slopes = known.law.jacobian(where, known.theta, reference)[:, free] / mu[:, None]
        procedure = np.full(len(where), test.procedure)
        own = _noise(known, procedure, mu, where) / mu
        together = [np.full(len(where), known.run)]
        together += [
            source.relative(procedure, mu, where.pressure_mpa)
            for source in known.sources
            if source.scope is Scope.RUN
        ]
        columns = np.column_stack(together)
        covariance = np.diag(own**2 + known.misfit**2) + columns @ columns.T
        found.append(slopes.T @ np.linalg.solve(covariance, slopes))
    return np.array(found)


def _predicted(words: str, solution: Solution, where: Conditions) -> Predicted:
    value, gradient = quantity_of(solution, where)
    u = float(np.sqrt(solution.estimate.variance(gradient[None, :])[0])) / value
    half = float(_half_widths(solution, where, 0.95).mean())
    return Predicted(words, u, half, float("nan"), solution_budget(solution, where))


def _half_widths(solution: Solution, where: Conditions, level: float) -> FloatArray:
    """Return half widths, relative, that the interval at one condition may come to have, (m,).

    Few packs show their scatter badly: each part of the variance that is estimated is drawn
    as its mean square will be, chi-square over its degrees of freedom, and widened as
    `Estimate.half_width` does.
    """
    value, gradient = quantity_of(solution, where)
    estimate = solution.estimate
    variance = float(estimate.variance(gradient[None, :])[0])
    parts = estimate.estimated_parts(gradient[None, :])[0]
    acting = parts > _NOTHING * variance
    parts, dof = parts[acting], np.maximum(estimate.dof[acting], 1.0)
    known = max(variance - float(parts.sum()), 0.0)
    rng = np.random.default_rng(_SEED)
    drawn = parts * rng.chisquare(dof, size=(_DRAWS, dof.size)) / dof
    freedom = interval_dof(np.sqrt(drawn), np.broadcast_to(dof, drawn.shape))
    estimated = coverage_factor(freedom, level) ** 2 * drawn.sum(axis=1)
    half: FloatArray = np.sqrt(estimated + coverage_factor(np.inf, level) ** 2 * known) / value
    return half


def _noise(known: Expected, procedure: TextArray, mu: FloatArray, where: Conditions) -> FloatArray:
    """Return the random part of each point, errors of its own included."""
    square = np.full(mu.shape, known.noise**2)
    for source in known.sources:
        if source.scope is Scope.POINT:
            square += source.relative(procedure, mu, where.pressure_mpa) ** 2
    noise: FloatArray = mu * np.sqrt(square)
    return noise


def _shared(
    known: Expected,
    owners: Mapping[Scope, TextArray],
    procedure: TextArray,
    where: Conditions,
    mu: FloatArray,
) -> tuple[tuple[Source, ...], sparse.csr_array]:
    """Return the sources that points share, one for each owner, and their (n, m) contributions."""
    sources: list[Source] = []
    parts: list[sparse.coo_array] = []
    for part in known.sources:
        if part.scope is Scope.POINT:
            continue
        size = mu * part.relative(procedure, mu, where.pressure_mpa)
        names = owners[part.scope]
        number, count = numbered(names)
        parts.append(sparse.coo_array((size, (np.arange(mu.size), number)), (mu.size, count)))
        first = np.unique(number, return_index=True)[1]
        sources += [
            Source(f"{part.kind}:{owner}:{part.effect.value}", part.scope, part.effect, part.kind)
            for owner in names[first].tolist()
        ]
    nothing = sparse.coo_array((mu.size, 0))
    return tuple(sources), sparse.csr_array(sparse.hstack(parts) if parts else nothing)
