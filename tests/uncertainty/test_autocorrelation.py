import numpy as np
import pytest
from scipy.signal import lfilter

from rigdata.uncertainty.autocorrelation import autocorrelation, integrated_time


def ar1(r: float, shape: tuple[int, ...], seed: int) -> np.ndarray:
    """Stationary AR(1) series of unit variance."""
    noise = np.random.default_rng(seed).normal(size=(*shape[:-1], shape[-1] + 600))
    return lfilter([np.sqrt(1 - r**2)], [1.0, -r], noise, axis=-1)[..., 600:]


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
