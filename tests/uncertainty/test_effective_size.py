import numpy as np
import pytest

from rigdata.uncertainty import effective_size as effective_size_module
from rigdata.uncertainty.effective_size import (
    ar1_effective_size,
    effective_size,
    pooled_noise,
    u_of_mean,
)
from tests.uncertainty.series import ar1


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
    assert effective_size(ar1(-0.02, (100_000,), 8)).capped


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


def test_a_slow_tenth_under_white_noise_is_seen() -> None:
    found = []
    for seed in range(20):
        white = np.random.default_rng(seed).normal(size=(6, 1000))
        noise = np.sqrt(0.1) * ar1(0.98, (6, 1000), 1000 + seed) + np.sqrt(0.9) * white
        found.append(pooled_noise(list(noise)).sizes[0].tau)
    assert np.median(found) == pytest.approx(0.9 + 0.1 * 99.0, rel=0.3)


def test_windows_are_folded_from_128_samples_on(monkeypatch: pytest.MonkeyPatch) -> None:
    lengths = []

    def shared(series, length, fitted):
        lengths.append((len(series[0]), length))
        return effective_size_module._Shared(1.0, 0.1, False, 1.0, float(fitted))

    monkeypatch.setattr(effective_size_module, "_shared", shared)
    for n in (127, 128, 192):
        pooled_noise([np.arange(float(n))])
    assert lengths == [(127, 1), (128, 1), (128, 2), (192, 1), (192, 3)]


@pytest.mark.parametrize(("chance", "taken"), [(0.249, 2.0), (0.251, 1.0)])
def test_the_slower_noise_counts_from_two_standard_uncertainties(
    monkeypatch: pytest.MonkeyPatch, chance: float, taken: float
) -> None:
    told = {1: (1.0, 0.01), 2: (2.0, chance)}

    def shared(_series, length, fitted):
        return effective_size_module._Shared(*told[length], False, 1.0, float(fitted))

    monkeypatch.setattr(effective_size_module, "_shared", shared)
    assert pooled_noise([np.arange(128.0)]).sizes[0].tau == taken


def test_what_is_gone_within_a_block_makes_no_slow_noise() -> None:
    swing = np.tile([1.0, -1.0], 128)
    noise = pooled_noise([swing])
    assert noise.sizes[0].capped
    assert noise.sizes[0].n_effective == 256.0
    assert noise.variance == pytest.approx(256 / 255, rel=1e-3)


def test_the_more_windows_tell_the_slower_the_noise_may_be() -> None:
    """What a line leaves of a parabola looks like the slowest noise there is."""
    bow = np.linspace(-1.0, 1.0, 100) ** 2
    bow -= bow.mean()
    for windows in (1, 4, 16):
        found = pooled_noise([bow] * windows, fitted=2).sizes[0]
        assert found.tau == pytest.approx(100.0 / (2.0 + 4.0 / windows**0.5))
