"""How long the samples of a series go on resembling each other.

The integrated autocorrelation time in samples is ``tau = 1 + 2 sum(rho_k)``.
NaN marks a missing sample.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import fft

from rigdata.arrays import FloatArray

_WINDOW = 3.0  # lags summed, in units of tau; what an exponential leaves out is exp(-6)
_FEWEST_LAGS = 3


def autocorrelation(series: ArrayLike) -> FloatArray:
    """Return the autocorrelation of a series at every lag.

    Parameters
    ----------
    series : (..., n) array
        One or more series along the last axis; NaN marks a missing sample.

    Returns
    -------
    (..., n) array
        ``r_k = sum((x_t - m)(x_(t+k) - m)) / sum((x_t - m)^2)``, the estimate
        that the NIST/SEMATECH e-Handbook, 1.3.5.12, uses, scaled up by the
        share of missing pairs.  All ones at lag 0; NaN where a series does not
        vary.
    """
    products, pairs = lagged(centred(np.asarray(series, dtype=np.float64)))
    return correlations(products, pairs)


def integrated_time(series: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the integrated autocorrelation time of each series.

    Parameters
    ----------
    series : (..., n) array
        One or more series along the last axis; NaN marks a missing sample.

    Returns
    -------
    tau : (...) array
        Integrated autocorrelation time. [samples]  It is 1 where a series does
        not vary.
    unsettled : (...) bool array
        True where the series is too short for its correlation to die out.

    Notes
    -----
    The sum stops at the first lag above ``3 tau`` (the self-consistent window
    of A. D. Sokal's lectures, 1997, six times the time in his convention), the
    last lag taken by half so that alternating series settle.  Taking the mean
    out of each series lowers its correlations by about ``tau / n``, which the
    factor ``1 + (2 M + 1) / n`` for `M` lags puts back (U. Wolff, Comput. Phys.
    Commun. 156 (2004) 143).  Both from memory of those texts; the tests hold
    them against AR(1) series, whose `tau` is known.
    """
    values = np.asarray(series, dtype=np.float64)
    counts = np.sum(np.isfinite(values), axis=-1)
    products, pairs = lagged(centred(values))
    return summed(correlations(products, pairs), counts.astype(np.float64))


def chance_of_time(tau: float, n: float) -> float:
    """Return the relative standard uncertainty of an `integrated_time` from `n` samples.

    Notes
    -----
    ``sqrt(2 (2 M + 1) / n)`` for a sum over M lags (N. Madras and A. D. Sokal, J. Stat.
    Phys. 50 (1988) 109; from memory, the tests hold it against AR(1) series).
    """
    lags = max(_WINDOW * tau, _FEWEST_LAGS)
    return math.sqrt(2.0 * (2.0 * lags + 1.0) / n)


def centred(values: FloatArray) -> FloatArray:
    """Take out the mean of each series; missing samples stay NaN."""
    seen = np.isfinite(values)
    count = np.maximum(seen.sum(axis=-1, keepdims=True), 1)
    mean = np.where(seen, values, 0.0).sum(axis=-1, keepdims=True) / count
    centred: FloatArray = np.where(seen, values - mean, np.nan)
    return centred


def lagged(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the sums of lagged products and the number of pairs, per lag."""
    n = values.shape[-1]
    length = fft.next_fast_len(2 * n, real=True)
    seen = np.isfinite(values)
    powers = []
    for each in (np.where(seen, values, 0.0), seen.astype(np.float64)):
        spectrum = fft.rfft(each, length, axis=-1)
        powers.append(fft.irfft(np.abs(spectrum) ** 2, length, axis=-1)[..., :n])
    return powers[0], np.round(powers[1])


def correlations(products: FloatArray, pairs: FloatArray) -> FloatArray:
    """Return autocorrelations from sums of products, as if no pair were missing."""
    n = products.shape[-1]
    lags = np.arange(n)
    share = (1.0 - lags / n) * pairs[..., :1] / np.maximum(pairs, 1.0)
    variance = products[..., :1]
    varies = variance > 0.0
    ratio: FloatArray = np.where(varies, products * share / np.where(varies, variance, 1.0), np.nan)
    return ratio


def summed(rho: FloatArray, counts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return `integrated_time` of correlations (..., n) of series with `counts` (...) samples."""
    n = rho.shape[-1]
    lags = np.arange(n)
    level = np.isnan(rho[..., 0])
    known = np.where(level[..., None], lags == 0, rho)
    running = 2.0 * np.cumsum(known, axis=-1) - 1.0 - np.where(lags > 0, known, 0.0)
    running = running * (1.0 + (2.0 * lags + 1.0) / np.maximum(counts, 1.0)[..., None])
    beyond = lags - _WINDOW * running
    settled = (beyond >= 0.0) & (lags >= _FEWEST_LAGS) & (lags <= n / 2)
    unsettled = ~settled.any(axis=-1)
    first = np.argmax(settled, axis=-1)[..., None]
    ends = (first, np.maximum(first - 1, 0))
    last, before = (np.take_along_axis(running, end, axis=-1)[..., 0] for end in ends)
    over, under = (np.take_along_axis(beyond, end, axis=-1)[..., 0] for end in ends)
    # Where the window ends between two lags, so does the sum.
    crossed = (under < 0.0) & (over > under)
    part = np.where(crossed, over / np.where(crossed, over - under, 1.0), 0.0)
    half = running[..., : max(n // 2, 1)]
    chosen = np.where(unsettled, half.max(axis=-1), last - part * (last - before))
    tau = np.where(level, 1.0, np.maximum(chosen, 1.0 / np.maximum(counts, 1.0)))
    return tau, unsettled & ~level
