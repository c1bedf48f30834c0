"""What a mean or a line takes of noise: against the dense matrices and drawn noise."""

import numpy as np
import pytest
from scipy.linalg import toeplitz

from rigdata.uncertainty.autocorrelation import summed
from rigdata.uncertainty.taken_out import left_of, put_back
from tests.uncertainty.series import ar1


@pytest.mark.parametrize("fitted", [1, 2, 3])
def test_the_share_left_is_that_of_the_dense_matrix(fitted: int) -> None:
    n, left = 40, left_of(40, fitted)
    powers = np.vander(np.arange(n) - 20.0, fitted)
    out = np.eye(n) - powers @ np.linalg.pinv(powers)
    for tau, kept in zip(left.tau[::6], left.kept[::6], strict=True):
        r = (tau - 1.0) / (tau + 1.0)
        assert kept == pytest.approx(np.trace(out @ toeplitz(r ** np.arange(n)) @ out) / n)


def test_white_noise_loses_its_parameters() -> None:
    assert left_of(50, 2).kept[0] == pytest.approx(48 / 50)
    assert put_back(1.0, 5000, 2) == (1.0, 1.0 - 2 / 5000)


@pytest.mark.parametrize(("r", "n"), [(0.9, 100), (0.95, 400), (0.98, 600)])
def test_the_time_of_drawn_noise_is_found_again(r: float, n: int) -> None:
    noise = ar1(r, (3000, n), 1)
    time = np.arange(n) - 0.5 * (n - 1)
    left = noise - noise.mean(axis=1, keepdims=True)
    left -= np.outer(left @ time / (time @ time), time)
    products = [left[:, : n - k].ravel() @ left[:, k:].ravel() for k in range(n)]
    # The pooled correlations as those of one series.
    apparent = float(summed(np.array(products) / products[0], np.asarray(n / 2))[0])
    tau, kept = put_back(apparent, n, 2, 3000.0)
    true = (1.0 + r) / (1.0 - r)
    assert apparent < 0.75 * true
    assert tau == pytest.approx(true, rel=0.1)
    assert kept == pytest.approx(np.mean(left**2), rel=0.03)


def test_far_shorter_noise_loses_its_parameters_times_its_time() -> None:
    assert put_back(3.0, 5000, 2) == (3.0, 1.0 - 6.0 / 5000)


def test_what_swings_is_scaled_as_white_noise_is() -> None:
    left = left_of(40, 1)
    assert put_back(0.5, 40, 1) == (0.5 / left.apparent[0], 39 / 40)


@pytest.mark.parametrize(("series", "worth"), [(1.0, 6.0), (4.0, 4.0), (1e12, 2.0)])
def test_how_slow_noise_may_be_found(series: float, worth: float) -> None:
    left = left_of(100, 2)
    assert left.tau[-1] == 50.0
    found, _ = put_back(left.apparent[-1], 100, 2, series)
    assert found == pytest.approx(100.0 / worth, rel=1e-5)


def test_no_time_becomes_shorter_by_it() -> None:
    assert put_back(60.0, 100, 1)[0] == 60.0
    assert put_back(0.5, 40, 1)[0] < 0.55


def test_a_mean_of_long_noise_loses_as_a_short_one_does() -> None:
    assert put_back(500.0, 5120, 2)[0] == pytest.approx(20.0 * put_back(25.0, 256, 2)[0])
