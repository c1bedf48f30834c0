"""Fieller's interval of a ratio of two means.

Sources: the sets ASAT (Hauschke et al. 1999) and rat weight as the R package mratios carries
them.  No interval of them was found in print; the ends expected here were made by two other ways,
the quadratic in decimal arithmetic and root-bracketing of the t test.
"""

import numpy as np
import pytest
from scipy import optimize, stats

from rigdata.wear.mass_check import fieller, paired_ratio

ASAT = (
    [1.53, 1.75, 2.12, 2.83, 2.58, 2.37, 2.92, 2.08, 3.01, 2.67, 2.06, 2.25, 3.08, 2.01, 1.58],
    [1.33, 1.78, 1.53, 1.95, 1.83, 1.47, 1.87, 1.55, 2.58, 2.17, 1.97, 1.62, 2.25, 3.53, 2.92,
     1.78, 2.22, 2.55, 2.75],
)  # fmt: skip
RATS = (
    [465, 492.2, 466.3, 555.5, 528.1, 483.8, 502.8, 468.1, 519.2, 500.2],
    [519.8, 535.7, 491.7, 508.7, 565.5, 485.8, 520.7, 507.5, 428.9, 466.0],
)


def groups(above, below):
    """Means of two groups, their covariance with one variance for both, and its dof."""
    one, other = np.array(above), np.array(below)
    dof = one.size + other.size - 2
    square = ((one.size - 1) * one.var(ddof=1) + (other.size - 1) * other.var(ddof=1)) / dof
    return one.mean(), other.mean(), np.diag([square / one.size, square / other.size]), dof


@pytest.mark.parametrize(
    ("sets", "level", "low", "high"),
    [
        (ASAT, 0.95, 0.934887055057, 1.324610989320),
        (ASAT, 0.90, 0.963046751693, 1.286014831071),
        (RATS, 0.90, 0.93937273828, 1.04383148169),
    ],
)
def test_two_groups(sets, level, low, high):
    a, b, covariance, dof = groups(*sets)
    t = stats.t.ppf(0.5 + level / 2.0, dof)
    assert fieller(a, b, covariance, t) == pytest.approx((low, high), rel=1e-10)


def test_the_linear_interval_is_another():
    """The delta method gives 0.93806346 to 1.04241484 for the rats."""
    a, b, covariance, dof = groups(*RATS)
    q, t = a / b, stats.t.ppf(0.95, dof)
    half = t * np.sqrt(covariance[0, 0] + q * q * covariance[1, 1]) / b
    assert (q - half, q + half) == pytest.approx((0.93806346, 1.04241484), abs=1e-8)
    assert fieller(a, b, covariance, t)[1] - (q + half) > 1e-3


def test_a_mean_that_is_not_resolved_bounds_nothing():
    a, b, covariance, _ = groups(*RATS)
    t = 1.001 * b / np.sqrt(covariance[1, 1])
    assert fieller(a, b, covariance, t) == (-np.inf, np.inf)


def test_pairs_by_scipys_paired_test():
    """The ends for pairs are the ratios at which scipy's paired t test has p = 0.05."""
    above, below = np.array(ASAT[0]), np.array(ASAT[1][:15])
    ratio, low, high = paired_ratio(above, below)

    def excess(q):
        return stats.ttest_rel(above, q * below).pvalue - 0.05

    assert low == pytest.approx(optimize.brentq(excess, 0.5, ratio), rel=1e-8)
    assert high == pytest.approx(optimize.brentq(excess, ratio, 2.0), rel=1e-8)
