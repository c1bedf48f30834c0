"""Seeded random streams and the noise shapes of a bench."""

from __future__ import annotations

import zlib

import numpy as np
from scipy.signal import lfilter

from rigdata.arrays import FloatArray


def stream(seed: int, *names: str) -> np.random.Generator:
    """Return the random stream that belongs to `names` under `seed`.

    Each run, pack and sensor draws from its own stream, so one run more or
    less leaves all the others as they were.
    """
    return np.random.default_rng([seed, *(zlib.crc32(name.encode()) for name in names)])


def ar1(
    rng: np.random.Generator, count: int, *, sd: float, correlation_s: float, step_s: float
) -> FloatArray:
    """Draw stationary first-order autoregressive noise.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of randomness.
    count : int
        Number of samples.
    sd : float
        Standard deviation of the noise.
    correlation_s : float
        Time in which the autocorrelation falls to 1/e. [s]
    step_s : float
        Sampling interval. [s]

    Returns
    -------
    (count,) array
        Noise with autocorrelation ``exp(-lag / correlation_s)``.
    """
    keep = float(np.exp(-step_s / correlation_s))
    kicks = rng.normal(0.0, sd, count)
    kicks[1:] *= np.sqrt(1.0 - keep**2)
    return np.asarray(lfilter([1.0], [1.0, -keep], kicks))


def first_order(values: FloatArray, *, time_constant_s: float, step_s: float) -> FloatArray:
    """Pass `values` through a first-order lag that starts settled on the first value.

    The input is taken as straight lines between the samples, for which the
    recurrence is exact.
    """
    if time_constant_s <= 0.0:
        return values.copy()
    ratio = step_s / time_constant_s
    keep = float(np.exp(-ratio))
    lead = (1.0 - keep) / ratio
    taps = [1.0 - lead, lead - keep]
    change = values - values[0]
    return np.asarray(values[0] + lfilter(taps, [1.0, -keep], change))
