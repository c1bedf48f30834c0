"""Fits and ratios of real reductions by Monte Carlo, against their linear budgets."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.comparison.pair_fits import fit_pair
from rigdata.errors import ReductionError
from rigdata.friction.budget import fit_solution, joint_solution, quantity_of
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign, split
from rigdata.friction.monte_carlo import draw_quantity
from rigdata.friction.results import Group
from rigdata.reduction.reading import Reading
from rigdata.reduction.reduce import reduce_campaign

DEMO = Path(__file__).parents[2] / "examples" / "ramp-differential"
DRAWS = 20_000
ROUGH, PLAIN = Group("rough-on-steel", "new"), Group("steel-on-steel", "new")
WHERE = Conditions(0.1, 85.0, 1.5)


@pytest.fixture(scope="module")
def reduction():
    return reduced()


def reduced(**changes):
    """Reduce zero, drag and the first two sweeps of two packs of each material.

    `changes` are made to every pack.
    """
    campaign = read_campaign(DEMO)
    packs = {name: replace(pack, **changes) for name, pack in campaign.packs.items()}
    runs = []
    for pack in ("A1", "A2", "B1", "B2"):
        own = [run for run in campaign.runs if run.pack == pack and not run.exclude]
        sweeps = [run for run in own if run.procedure == "speed-sweep"]
        runs += [run for run in own if run.procedure in ("zero", "drag")] + sweeps[:2]
    return reduce_campaign(replace(campaign, runs=tuple(runs), packs=packs))


@pytest.fixture(scope="module")
def fits(reduction):
    return fit_campaign(reduction.points, reduction.campaign.reference, laws=["log-speed"])


def check(test, value, u):
    """Standard uncertainty and mean agree but for the luck of the draw and second order."""
    drawn = test.drawn
    assert drawn.u[0] == pytest.approx(u, rel=4 / np.sqrt(2 * DRAWS) + 2e-3)
    assert drawn.mean[0] == pytest.approx(value, abs=(4 / np.sqrt(DRAWS) + 2 * u / value) * u)


def test_a_fitted_coefficient(reduction, fits):
    solution = fit_solution(reduction.points, fits[ROUGH])
    value, gradient = quantity_of(solution, WHERE)
    u = float(np.sqrt(solution.estimate.variance(gradient[None, :])[0]))
    check(draw_quantity(solution, WHERE, reduction.readings, draws=DRAWS), value, u)


def test_only_a_named_source():
    """On wide faces, without scatter, the radius law dominates and its rectangle shows."""
    reduction = reduced(inner_radius_mm=28.0)
    fits = fit_campaign(reduction.points, reduction.campaign.reference, laws=["log-speed"])
    fit = fits[ROUGH]
    quiet = replace(fit.estimate, variances=np.zeros_like(fit.estimate.variances))
    solution = fit_solution(reduction.points, replace(fit, estimate=quiet))
    value, gradient = quantity_of(solution, WHERE)
    u = float(np.sqrt(solution.estimate.variance(gradient[None, :])[0]))
    test = draw_quantity(solution, WHERE, reduction.readings, draws=DRAWS)
    check(test, value, u)
    assert not test.passed[0]
    assert test.drawn.high[0] - test.drawn.low[0] < 0.97 * (test.high[0] - test.low[0])


def test_a_ratio_is_symmetric_in_its_logarithm(reduction, fits):
    own = split(reduction.points, "kinetic")
    solution = joint_solution(fit_pair(own, fits, ROUGH, PLAIN))
    value, gradient = quantity_of(solution, WHERE)
    u = float(np.sqrt(solution.estimate.variance(gradient[None, :])[0]))
    test = draw_quantity(solution, WHERE, reduction.readings, draws=DRAWS)
    check(test, value, u)
    assert test.low[0] * test.high[0] == pytest.approx(value**2, rel=1e-12)
    ends = np.array([test.drawn.low[0], test.drawn.high[0]])
    noise = 4 * np.array([test.drawn.u_low[0], test.drawn.u_high[0]])
    assert np.all(np.abs(ends - [test.low[0], test.high[0]]) < noise + 0.01 * u)


def test_the_same_seed_gives_the_same_draws(reduction, fits):
    solution = fit_solution(reduction.points, fits[PLAIN])
    first, again, other = (
        draw_quantity(solution, WHERE, reduction.readings, draws=500, seed=seed).drawn.mean[0]
        for seed in (1, 1, 2)
    )
    assert first == again != other


def test_points_of_another_reduction_are_refused(reduction, fits):
    solution = fit_solution(reduction.points, fits[PLAIN])
    few: dict[str, Reading] = dict(list(reduction.readings.items())[:1])
    with pytest.raises(ReductionError, match="was read from is not known"):
        draw_quantity(solution, WHERE, few, draws=500)
