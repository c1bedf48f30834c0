import numpy as np
import pytest

from rigdata.uncertainty.autocorrelation import (
    autocorrelation,
    chance_of_time,
    integrated_time,
    summed,
)
from tests.uncertainty.series import ar1


def test_autocorrelation_is_the_textbook_sum() -> None:
    x = ar1(0.6, (40,), 1)
    d = x - x.mean()
    direct = [d[: 40 - k] @ d[k:] / (d @ d) for k in range(40)]
    assert autocorrelation(x) == pytest.approx(direct, abs=1e-12)


def test_series_side_by_side_are_independent() -> None:
    x = ar1(0.6, (3, 200), 2)
    tau, _ = integrated_time(x)
    assert tau == pytest.approx([float(integrated_time(row)[0]) for row in x])


def test_white_noise_is_worth_its_samples() -> None:
    tau, unsettled = integrated_time(ar1(0.0, (200, 1000), 3))
    assert tau.mean() == pytest.approx(1.0, abs=0.03)
    assert not unsettled.any()


def test_three_lags_are_summed_at_least_and_no_more_than_needed() -> None:
    rho = np.zeros(40)
    rho[[0, 4]] = 1.0, 0.4
    assert summed(rho, np.asarray(np.inf))[0] == 1.0
    rho[[1, 4]] = -0.6, 0.0
    assert summed(rho, np.asarray(50.0))[0] == 1.0 / 50.0  # the least there is


def test_what_the_mean_takes_is_put_back_and_the_window_ends_between_lags() -> None:
    """White noise in 20 samples: 1.45 after 4 lags, below a third of 4; 1.55 after 5, above."""
    assert summed(np.eye(40)[0], np.asarray(20.0))[0] == pytest.approx(1.5)


def test_the_chance_of_a_time_by_hand() -> None:
    assert chance_of_time(4.0, 1000.0) == pytest.approx((2 * 25 / 1000) ** 0.5)
    assert chance_of_time(0.1, 1000.0) == pytest.approx((2 * 7 / 1000) ** 0.5)


def test_one_sample_has_a_time_all_the_same() -> None:
    assert integrated_time([5.0])[0] == 1.0
