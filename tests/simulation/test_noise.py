import numpy as np
import pytest

from rigdata.simulation.noise import ar1, first_order, stream


def test_streams_repeat_and_differ():
    again = [stream(7, "run", "R001").normal(size=3) for _ in range(2)]
    assert np.array_equal(*again)
    assert not np.array_equal(again[0], stream(7, "run", "R002").normal(size=3))
    assert not np.array_equal(again[0], stream(8, "run", "R001").normal(size=3))


def test_ar1_has_its_spread_and_its_correlation():
    noise = ar1(np.random.default_rng(1), 400_000, sd=2.0, correlation_s=0.5, step_s=0.1)
    assert noise.std() == pytest.approx(2.0, rel=0.02)
    lagged = np.corrcoef(noise[:-5], noise[5:])[0, 1]
    assert lagged == pytest.approx(np.exp(-1.0), abs=0.02)


def test_ar1_is_stationary_from_its_first_sample():
    rng = np.random.default_rng(2)
    first = [ar1(rng, 2, sd=1.0, correlation_s=5.0, step_s=0.1)[0] for _ in range(4000)]
    assert np.std(first) == pytest.approx(1.0, rel=0.05)


def test_first_order_lag_follows_a_ramp_one_time_constant_late():
    time = np.arange(0.0, 20.0, 0.1)
    shown = first_order(3.0 * time, time_constant_s=1.5, step_s=0.1)
    exact = 3.0 * (time - 1.5 * (1.0 - np.exp(-time / 1.5)))
    assert shown == pytest.approx(exact, abs=1e-9)
