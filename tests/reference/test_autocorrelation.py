"""Autocorrelation: published values, and AR(1) series whose answer is known."""

from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.uncertainty.autocorrelation import (
    autocorrelation,
    chance_of_time,
    integrated_time,
)
from rigdata.uncertainty.effective_size import ar1_effective_size, effective_size

LEW = np.loadtxt(Path(__file__).parent / "data" / "lew.csv", skiprows=1)


def test_lew_published_autocorrelations() -> None:
    # NIST/SEMATECH e-Handbook 1.4.2.5, two decimals printed.
    assert LEW.mean() == pytest.approx(-177.435)
    assert LEW.std(ddof=1) == pytest.approx(277.332168, rel=1e-8)
    r = autocorrelation(LEW)
    printed = [
        *(1.00, -0.31, -0.74, 0.77, 0.21, -0.90, 0.38, 0.63, -0.77, -0.12, 0.82, -0.40, -0.55),
        *(0.73, 0.07, -0.76, 0.40, 0.48, -0.70, -0.03, 0.70, -0.41, -0.43, 0.67, 0.00, -0.66),
        *(0.42, 0.39, -0.65, 0.03, 0.63, -0.42, -0.36, 0.64, -0.05, -0.60, 0.43, 0.32, -0.64),
        *(0.08, 0.58, -0.45, -0.28, 0.62, -0.10, -0.55, 0.45, 0.25, -0.61, 0.14),
    ]
    assert r[: len(printed)] == pytest.approx(printed, abs=0.006)
    assert r[1:6] == pytest.approx(
        [-0.30730480, -0.74035027, 0.77468923, 0.20515544, -0.89815611], abs=1e-8
    )


def test_lew_is_not_worth_more_than_its_samples_in_silence() -> None:
    size = effective_size(LEW)
    assert size.tau < 1.0
    assert size.n_effective == 200.0
    assert size.capped


@pytest.mark.parametrize(
    ("r", "n_effective", "asymptotic"),
    [
        (0.3, 538.8168, 538.4615),
        (0.5, 333.7784, 333.3333),
        (0.9, 53.13496, 52.63158),
        (0.99, 5.58033, 5.02513),
    ],
)
def test_ar1_finite_size(r: float, n_effective: float, asymptotic: float) -> None:
    tau = (1 + r) / (1 - r)
    # Exact sum for 1000 samples, and the limit that holds for long series.
    assert ar1_effective_size(1000, tau) == pytest.approx(n_effective, rel=2e-6)
    assert 1000 / tau == pytest.approx(asymptotic, rel=1e-6)
    k = np.arange(1, 1000)
    direct = 1000 / (1 + 2 * np.sum((1 - k / 1000) * r**k))
    assert ar1_effective_size(1000, tau) == pytest.approx(direct, rel=1e-12)


@pytest.mark.parametrize("r", [0.0, 0.3, 0.5, 0.9])
def test_estimated_time_of_ar1_series(r: float) -> None:
    noise = np.random.default_rng(20).normal(size=(8, 100_000))
    tau, unsettled = integrated_time(lfilter([1.0], [1.0, -r], noise, axis=-1)[:, 1000:])
    assert not unsettled.any()
    assert tau.mean() == pytest.approx((1 + r) / (1 - r), rel=0.05)


@pytest.mark.parametrize("r", [0.0, 0.5, 0.9])
def test_scatter_of_the_estimated_time(r: float) -> None:
    """Madras and Sokal's formula, from memory, against the scatter over 2,000 series."""
    noise = np.random.default_rng(21).normal(size=(2000, 3500))
    tau, _ = integrated_time(lfilter([1.0], [1.0, -r], noise, axis=-1)[:, 500:])
    true = (1.0 + r) / (1.0 - r)
    assert np.std(tau) / true == pytest.approx(chance_of_time(true, 3000.0), rel=0.25)
