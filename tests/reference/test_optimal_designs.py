"""D-optimal designs against published ones.

Source: A. C. Atkinson and A. N. Donev, Optimum Experimental Designs (Oxford, 1992), chapters 9
and 11, for the straight line, the quadratic and the plane; the roots of Legendre's polynomials
for the cubic (P. G. Guest, Ann. Math. Stat. 29 (1958) 294).  All from memory, and each checked
here by the general equivalence theorem, which needs no table.
"""

from __future__ import annotations

import numpy as np
import pytest

from rigdata.planning.optimal import continuous_design, exact_design

GRID = np.linspace(-1.0, 1.0, 2001)  # holds the published points to 0.001


def polynomial(x: np.ndarray, degree: int) -> np.ndarray:
    """Information (k, p, p) of one reading of unit variance at each x."""
    rows = x[:, None] ** np.arange(degree + 1)
    return rows[:, :, None] * rows[:, None, :]


PUBLISHED = {
    1: [-1.0, 1.0],
    2: [-1.0, 0.0, 1.0],
    3: [-1.0, -(5**-0.5), 5**-0.5, 1.0],
}


@pytest.mark.parametrize("degree", PUBLISHED)
def test_a_polynomial_in_one_factor(degree):
    points = np.array(PUBLISHED[degree])
    x = np.union1d(np.linspace(-1.0, 1.0, 21), points)
    design = continuous_design(polynomial(x, degree))
    near = np.min(np.abs(x[:, None] - points), axis=1) < 1e-9
    assert design.share[near] == pytest.approx(1.0 / (degree + 1), abs=3e-3)
    assert design.share[~near].max() < 3e-3
    best = polynomial(points, degree).mean(axis=0)
    assert design.log_det == pytest.approx(np.linalg.slogdet(best)[1], abs=1e-4)


@pytest.mark.parametrize("degree", PUBLISHED)
def test_the_published_design_meets_the_equivalence_theorem(degree):
    best = polynomial(np.array(PUBLISHED[degree]), degree).mean(axis=0)
    variance = np.einsum("ij,kji->k", np.linalg.inv(best), polynomial(GRID, degree))
    assert variance.max() == pytest.approx(degree + 1, rel=1e-9)


def test_the_largest_variance_is_the_number_of_parameters():
    rng = np.random.default_rng(3)
    rows = rng.normal(size=(60, 4, 5))  # runs of four readings, five parameters
    design = continuous_design(np.einsum("kni,knj->kij", rows, rows))
    assert design.variance.max() == pytest.approx(5.0, rel=1.1e-5)
    assert float(design.share @ design.variance) == pytest.approx(5.0, rel=1e-12)


def test_with_tests_that_are_made_anyway():
    # A reading at 0 in every design of a line: the rest still goes to the ends, in halves.
    information = polynomial(np.linspace(-1.0, 1.0, 21), 1)
    design = continuous_design(information, fixed=polynomial(np.array([0.0]), 1)[0])
    assert design.share[[0, -1]] == pytest.approx(0.5, abs=1e-3)


def test_the_exchange_finds_the_two_to_the_two_factorial():
    levels = np.array([(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)], dtype=float)
    rows = np.column_stack([np.ones(9), levels])
    information = rows[:, :, None] * rows[:, None, :]
    design = exact_design(information, np.ones(9), 4, np.random.default_rng(1))
    corners = np.all(np.abs(levels) == 1.0, axis=1)
    assert design.count[corners].tolist() == [1, 1, 1, 1]
    assert design.efficiency == pytest.approx(1.0, abs=1e-4)


def test_the_efficiency_of_a_number_of_runs_that_does_not_divide():
    # Four readings for a quadratic: one point twice, |M| = 2 |M of three| / 4^3.
    x = np.linspace(-1.0, 1.0, 21)
    design = exact_design(polynomial(x, 2), np.ones(21), 4, np.random.default_rng(1))
    assert sorted(design.count[[0, 10, 20]].tolist()) == [1, 1, 2]
    assert design.efficiency == pytest.approx((2 * 27 / 64) ** (1 / 3), abs=1e-4)


def test_a_dear_test_is_made_only_when_it_pays():
    # The end at +1 costs as much as many readings at +0.9, which tell nearly as much.
    x = np.array([-1.0, 0.9, 1.0])
    cost = np.array([1.0, 1.0, 9.0])
    design = exact_design(polynomial(x, 1), cost, 6, np.random.default_rng(1))
    assert design.count.tolist() == [3, 3, 0]


def test_candidates_that_cannot_show_a_parameter():
    with pytest.raises(ValueError, match="do not determine"):
        continuous_design(polynomial(np.array([0.3]), 1))
