"""A thousand refits of 500 points, with the runs weighted anew, over a loop of lmfit calls.

The loop gets the same answer with the covariance of the fit written out in full, decomposed for
every set of weights.  A loop that forgets the covariance, with the weights on the points alone, is
cheaper and answers another question; it stands beside it.  Processor time of a few lmfit calls,
scaled to a thousand.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.bootstrap import drawn_weights
from rigdata.friction.budget import fit_solution
from rigdata.friction.fit import fit_campaign
from rigdata.friction.refits import refitted, units_of
from rigdata.friction.solution import Solution
from tests.benchmarks.ratios import Ratio, Size
from tests.friction.by_lmfit import minimised

REFITS, CALLS = 1000, 20
LAYOUT = ((25,) * 5,) * 4  # points of each run of each pack


def solved(law: str) -> Solution:
    points = drawn(Truth(law=law, theta=THETA[law], layout=LAYOUT), np.random.default_rng(7))
    (fit,) = fit_campaign(points, REFERENCE, laws=[law], oil=OIL).values()
    return fit_solution(points, fit)


def in_full(solution: Solution, weights: np.ndarray) -> np.ndarray:
    """One refit with the covariance written out."""
    model, variances = solution.model, solution.estimate.variances
    columns = model.columns.dense(model.scale(variances))
    _, run = np.unique(solution.points.run, return_inverse=True)
    within = np.array([np.unique(run[column != 0.0]).size == 1 for column in columns.T])
    own = np.diag(model.variance(variances)) + columns[:, within] @ columns[:, within].T
    own /= np.sqrt(np.outer(weights[run], weights[run]))  # nothing of it lies between runs
    covariance = own + columns[:, ~within] @ columns[:, ~within].T
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    return minimised(solution, lambda residuals: root @ residuals)


def points_alone(solution: Solution, weights: np.ndarray) -> np.ndarray:
    """One refit with every point on its own."""
    _, run = np.unique(solution.points.run, return_inverse=True)
    root = np.sqrt(weights[run] / solution.model.variance(solution.estimate.variances))
    return minimised(solution, lambda residuals: root * residuals)


def ratios(size: Size) -> Iterator[Ratio]:
    for law in ("log-speed", "stribeck"):
        solution = solved(law)
        units = units_of(solution, "run")
        weights = drawn_weights(REFITS, len(units), seed=3)
        taken: dict[str, list[float]] = {"batch": [], "full": [], "alone": []}
        for _ in range(size.repeats):
            start = time.process_time()
            found = refitted(solution, units, weights)
            taken["batch"].append(time.process_time() - start)
            for name, one in (("full", in_full), ("alone", points_alone)):
                start = time.process_time()
                ends = np.array([one(solution, row) for row in weights[:CALLS]])
                taken[name].append((time.process_time() - start) * REFITS / CALLS)
                if name == "full":
                    converged = ends
        u = np.sqrt(np.diag(solution.estimate.covariance))
        apart = np.abs(found.theta[:CALLS] - converged)[:, u > 0.0] / u[u > 0.0]
        batch, full, alone = (np.median(taken[name]) for name in ("batch", "full", "alone"))
        note = f"{batch:.2g} s for {REFITS}, {np.count_nonzero(~found.settled)} came to no end"
        yield Ratio(f"{law}, over lmfit with the covariance", batch / full, most=0.2, note=note)
        yield Ratio(f"{law}, over lmfit without it", batch / alone)
        yield Ratio(f"{law}, apart from lmfit's, in standard errors", apart.max(), most=0.01)
