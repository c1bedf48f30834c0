"""Tests of difference and equivalence against results of other programs.

Sources: the clinic set and the results that R's package `equivalence` gives for a margin of 0.6,
as the tests of statsmodels (BSD-3) quote them; Holm's correction by statsmodels where that is
installed.  `equivalence_p` and `two_sided_p` take an interval of any kind; here it is Student's.
"""

import numpy as np
import pytest
from scipy import stats

from rigdata.comparison.verdict import equivalence_p, holm, two_sided_p
from rigdata.friction.columns import dense_columns
from rigdata.friction.linear_fit import linear_fit
from rigdata.friction.mixed_model import Component, MixedModel

# Two variables of 15 subjects of each of two groups.
VAR1 = np.array([
    2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84,
    2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02,
])  # fmt: skip
VAR2 = np.array([
    4.00, 3.26, 4.14, 3.42, 3.25, 4.34, 4.97, 4.31, 3.11, 3.41, 5.02, 4.21, 4.59, 5.30, 4.32,
    3.76, 3.66, 3.65, 3.60, 3.48, 2.87, 3.24, 3.92, 3.99, 4.21, 4.21, 3.31, 3.61, 2.97, 2.73,
])  # fmt: skip
MARGIN = 0.6


def welch(one, other):
    squares = [part.var(ddof=1) / part.size for part in (one, other)]
    dof = sum(squares) ** 2 / sum(v**2 / (one.size - 1) for v in squares)
    return one.mean() - other.mean(), np.sqrt(sum(squares)), dof


def pooled(one, other):
    variance = (one.var(ddof=1) + other.var(ddof=1)) / 2.0
    return one.mean() - other.mean(), np.sqrt(variance * 2.0 / one.size), 2.0 * one.size - 2.0


def paired(one, other):
    apart = one - other
    return apart.mean(), apart.std(ddof=1) / np.sqrt(apart.size), apart.size - 1.0


def student(u, dof):
    return lambda level: float(u * stats.t.ppf(0.5 * (1.0 + level), dof))


@pytest.mark.parametrize(
    ("values", "kind", "p"),
    [
        (VAR1, welch, 0.04853083976236974),
        (VAR1, pooled, 0.04827315100),
        (VAR1, paired, 0.003166881489265175),
        (VAR2, welch, 0.4317936812594803),
        (VAR2, pooled, 0.4316934769),
        (VAR2, paired, 0.4412034046017588),
    ],
)
def test_two_one_sided_tests_of_the_clinic_set(values, kind, p):
    difference, u, dof = kind(values[:15], values[15:])
    half_width = student(u, dof)
    found = equivalence_p(half_width, difference, -MARGIN, MARGIN)
    assert found == pytest.approx(p, rel=1e-8)
    inside = abs(difference) + half_width(0.90) < MARGIN  # the rule of the 90 % interval
    assert inside == (found < 0.05)


@pytest.mark.parametrize(
    ("values", "kind", "low", "high"),
    [
        (VAR1, welch, -0.2666862980722534, 0.596019631405587),
        (VAR1, pooled, -0.2659960621, 0.5953293954),
        (VAR1, paired, -0.0744336620516462, 0.4037669953849797),
        (VAR2, welch, 0.194916250699966, 0.930417082633366),
        (VAR2, paired, 0.1261653305099018, 0.999168002823431),
    ],
)
def test_90_percent_intervals_of_the_clinic_set(values, kind, low, high):
    difference, u, dof = kind(values[:15], values[15:])
    half = student(u, dof)(0.90)
    assert (difference - half, difference + half) == pytest.approx((low, high), rel=1e-9)


def test_a_pack_that_stands_in_both_groups_makes_a_paired_comparison():
    """The mixed model that compares batches, with one effect a pair, is scipy's paired test.

    So where pairs resemble each other, as those of the first variable do; a variance is never
    negative, so pairs that differ more than strangers are taken for strangers.
    """
    n, values = 15, VAR1
    pair, first = np.tile(np.arange(n), 2), np.repeat([1.0, 0.0], n)
    model = MixedModel(
        residual=values,
        design=np.column_stack([first, np.ones(2 * n)]),
        diagonal=np.zeros(2 * n),
        columns=dense_columns(np.zeros((2 * n, 0)), np.eye(n)[pair]),
        components=(Component("pack"), Component("misfit", weights=np.ones(2 * n))),
    )
    estimate, _ = linear_fit(model, np.array([0.1, 0.1]))
    gradient = np.array([[1.0, 0.0]])

    def half_width(level):
        return float(estimate.half_width(gradient, level=level)[0])

    test = stats.ttest_rel(values[:n], values[n:])
    interval = test.confidence_interval(0.95)
    difference = float(estimate.theta[0])
    assert difference == pytest.approx(np.mean(values[:n] - values[n:]), rel=1e-9)
    assert difference - half_width(0.95) == pytest.approx(interval.low, rel=1e-6)
    assert difference + half_width(0.95) == pytest.approx(interval.high, rel=1e-6)
    assert two_sided_p(half_width, abs(difference)) == pytest.approx(test.pvalue, rel=1e-5)


def test_holm_against_another_program():
    multitest = pytest.importorskip("statsmodels.stats.multitest")
    rng = np.random.default_rng(12)
    for n in (1, 2, 5, 20):
        for p in rng.uniform(0.0, 1.0, size=(10, n)) ** 3:
            assert holm(p) == pytest.approx(multitest.multipletests(p, method="holm")[1])
    tied = [0.01, 0.01, 0.04, 0.04, 0.5]
    assert holm(tied) == pytest.approx(multitest.multipletests(tied, method="holm")[1])
