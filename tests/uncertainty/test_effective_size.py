import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.uncertainty.effective_size import (
    ar1_effective_size,
    effective_size,
    pooled_noise,
    u_of_mean,
)


def ar1(r: float, shape: tuple[int, ...], seed: int) -> np.ndarray:
    """Stationary AR(1) series of unit variance."""
    noise = np.random.default_rng(seed).normal(size=(*shape[:-1], shape[-1] + 600))
    return lfilter([np.sqrt(1 - r**2)], [1.0, -r], noise, axis=-1)[..., 600:]


def test_short_windows_of_one_run_are_pooled() -> None:
    windows = list(ar1(0.8, (60, 150), 4))
    sizes = pooled_noise(windows).sizes
    assert len(sizes) == 60
    assert {size.tau for size in sizes} == {sizes[0].tau}
    assert sizes[0].tau == pytest.approx(9.0, rel=0.15)
    alone = [effective_size(window).tau for window in windows]
    assert abs(sizes[0].tau - 9.0) < np.std(alone)


def test_windows_of_unequal_length_keep_their_own_size() -> None:
    run = ar1(0.7, (3000,), 5)
    long, short = pooled_noise([run[:2900], run[2900:]]).sizes
    assert long.tau == short.tau
    assert (long.n, short.n) == (2900, 100)
    assert long.n_effective == pytest.approx(ar1_effective_size(2900, long.tau))
    assert short.n_effective == pytest.approx(ar1_effective_size(100, long.tau))


def test_missing_samples_do_not_count() -> None:
    x = ar1(0.8, (20_000,), 6)
    holed = x.copy()
    holed[np.random.default_rng(7).random(x.size) < 0.2] = np.nan
    size = effective_size(holed)
    assert size.n == np.isfinite(holed).sum()
    assert size.tau == pytest.approx(effective_size(x).tau, rel=0.1)
    assert np.isfinite(size.n_effective)


def test_negative_correlation_is_capped_and_says_so() -> None:
    size = effective_size(ar1(-0.6, (5000,), 8))
    assert size.tau == pytest.approx(0.25, abs=0.1)
    assert size.n_effective == 5000.0
    assert size.capped
    assert not effective_size(ar1(0.6, (5000,), 8)).capped


def test_a_trend_is_worth_little_and_unsettled() -> None:
    size = effective_size(np.arange(100.0))
    assert size.unsettled
    assert size.n_effective < 5.0


def test_a_level_series_varies_not_at_all() -> None:
    size = effective_size(np.full(50, 3.0))
    assert (size.tau, size.n_effective, size.capped, size.unsettled) == (1.0, 50.0, False, False)


def test_a_single_sample_is_one() -> None:
    assert effective_size([2.0]).n_effective == 1.0
    assert u_of_mean([0.0], 1.0) == np.inf


def test_no_sample_is_refused() -> None:
    with pytest.raises(ValueError, match="sample"):
        effective_size([np.nan, np.nan])
    with pytest.raises(ValueError, match="sample"):
        pooled_noise([])


def test_effective_size_tends_to_one_for_slow_series() -> None:
    assert ar1_effective_size(10, 1e6) == pytest.approx(1.0, abs=1e-4)
    assert ar1_effective_size(10, 1.0) == 10.0


def test_u_of_mean_of_independent_samples_is_the_usual_one() -> None:
    x = np.random.default_rng(9).normal(size=25)
    usual = x.std(ddof=1) / 5.0
    assert u_of_mean(x - x.mean(), 25.0) == pytest.approx(usual, rel=1e-12)


@pytest.mark.parametrize("r", [0.0, 0.7, 0.95])
def test_stated_uncertainty_of_a_mean_is_its_spread(r: float) -> None:
    series = ar1(r, (4000, 200), 10)
    means = series.mean(axis=1)
    n_effective = float(ar1_effective_size(200, (1 + r) / (1 - r)))
    stated = [u_of_mean(x - x.mean(), n_effective) ** 2 for x in series]
    # True for a known tau, however short the series.
    assert np.sqrt(np.mean(stated)) == pytest.approx(means.std(), rel=0.04)
    naive = series.std(axis=1, ddof=1).mean() / np.sqrt(200)
    if r > 0:
        assert naive < 0.5 * means.std()
