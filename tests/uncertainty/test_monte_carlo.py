"""Draws, intervals and the verdict on the linear budget."""

import math

import numpy as np
import pytest

from rigdata.uncertainty.monte_carlo import (
    Drawn,
    linear_test,
    numerical_tolerance,
    shortest_interval,
    standard_draws,
    summarise,
)
from rigdata.uncertainty.sources import Distribution

NORMAL, BOX = Distribution.NORMAL, Distribution.RECTANGULAR
ROOT3 = math.sqrt(3.0)


@pytest.mark.parametrize("distribution", [NORMAL, BOX])
def test_errors_have_mean_nil_and_standard_deviation_one(distribution) -> None:
    draws = standard_draws("torque:T1:slope", distribution, 400_000)
    assert abs(draws.mean()) < 4 / math.sqrt(draws.size)
    assert draws.std() == pytest.approx(1.0, abs=4 / math.sqrt(2 * draws.size))
    reach = np.abs(draws).max()
    assert (1.73 < reach < ROOT3) if distribution is BOX else reach > 4.0


def test_a_name_has_its_own_errors_whenever_it_is_drawn() -> None:
    first, other = (standard_draws(name, NORMAL, 10_000) for name in ("zero:R1", "zero:R2"))
    np.testing.assert_array_equal(first, standard_draws("zero:R1", NORMAL, 10_000))
    np.testing.assert_array_equal(first[:100], standard_draws("zero:R1", NORMAL, 100))
    assert abs(np.corrcoef(first, other)[0, 1]) < 0.05
    assert not np.array_equal(first, standard_draws("zero:R1", NORMAL, 10_000, seed=2))


def test_symmetric_interval_leaves_out_as_many_above_as_below() -> None:
    drawn = summarise(np.random.default_rng(1).permutation(1000).astype(float))
    assert (drawn.low[0], drawn.high[0]) == (24.0, 974.0)
    assert (drawn.draws, drawn.mean[0]) == (1000, 499.5)
    many = summarise(np.stack([np.arange(1000.0), 2 * np.arange(1000.0)]))
    np.testing.assert_array_equal(many.high, [974.0, 1948.0])
    assert not many.high.flags.writeable


def test_standard_errors_of_the_ends_are_what_repetition_shows() -> None:
    skewed = np.random.default_rng(3).exponential(size=(600, 5000))
    drawn = summarise(skewed)
    for ends, exact in ((drawn.low, -math.log(0.975)), (drawn.high, -math.log(0.025))):
        assert ends.mean() == pytest.approx(exact, abs=4 * ends.std() / math.sqrt(600))
    # The standard deviation of 600 ends is itself known to 3 %.
    assert drawn.u_low.mean() == pytest.approx(drawn.low.std(), rel=0.12)
    assert drawn.u_high.mean() == pytest.approx(drawn.high.std(), rel=0.12)


def test_shortest_interval_of_a_skewed_distribution_starts_at_its_peak() -> None:
    draws = np.random.default_rng(4).exponential(size=(2, 400_000))
    low, high = shortest_interval(draws)
    assert np.all((low >= 0.0) & (low < 0.002))
    np.testing.assert_allclose(high, -math.log(0.05), rtol=0.01)
    symmetric = summarise(draws)
    assert np.all(high - low < symmetric.high - symmetric.low)
    ordered = np.sort(draws[0])
    assert np.mean((ordered >= low[0]) & (ordered <= high[0])) == pytest.approx(0.95, abs=1e-4)


def test_tolerance_is_half_a_unit_in_the_last_digit() -> None:
    u = [0.0021, 0.0099, 0.00994, 0.00996, 1.0, 34.0]
    np.testing.assert_allclose(
        numerical_tolerance(u), [0.5e-4, 0.5e-4, 0.5e-4, 0.5e-3, 0.05, 0.5], rtol=1e-12
    )
    np.testing.assert_allclose(numerical_tolerance(u, 1)[:4], [0.5e-3, 0.5e-2, 0.5e-2, 0.5e-2])


def drawn_ends(low: float, high: float, u_end: float) -> Drawn:
    return Drawn(1000, *(np.array([x]) for x in (0.0, 1.0, low, high, u_end, u_end)))


@pytest.mark.parametrize(
    ("low", "high", "u_end", "passed", "settled"),
    [
        (-1.93, 1.95, 0.005, True, True),
        (-1.93, 1.92, 0.008, True, False),  # 0.04 off, tolerance 0.05
        (-1.93, 1.90, 0.008, False, False),
        (-1.93, 1.80, 0.008, False, True),
        (-1.80, 1.90, 0.008, False, True),  # one end clearly out settles it
    ],
)
def test_verdict_and_whether_the_draws_are_enough(low, high, u_end, passed, settled) -> None:
    test = linear_test(0.0, 1.0, drawn_ends(low, high, u_end))
    assert test.high[0] == pytest.approx(1.959964, abs=1e-6)
    assert test.tolerance[0] == pytest.approx(0.05)
    assert (test.passed[0], test.settled[0]) == (passed, settled)


def test_a_linear_model_of_normal_causes_passes() -> None:
    causes = {"a": 3.0, "b": -4.0}
    draws = 7.0 + sum(c * standard_draws(n, NORMAL, 400_000) for n, c in causes.items())
    test = linear_test(7.0, 5.0, summarise(draws))
    assert test.passed[0]
    assert test.drawn.u[0] == pytest.approx(5.0, rel=0.01)
