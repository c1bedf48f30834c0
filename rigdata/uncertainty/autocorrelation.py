"""How many independent samples a correlated series is worth.

Neighbouring samples of a log resemble each other, so the mean over a window of
`n` samples is known as if from ``n / tau`` independent ones, with `tau` the
integrated autocorrelation time in samples: ``tau = 1 + 2 sum(rho_k)``.
Residuals of a window (the samples less their mean or trend) are what belongs
in here; NaN marks a missing sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import fft

from rigdata.arrays import FloatArray

_WINDOW = 3.0  # lags summed, in units of tau; what an exponential leaves out is exp(-6)
_FEWEST_LAGS = 3


@dataclass(frozen=True)
class EffectiveSize:
    """What a series of `n` samples is worth for its mean.

    Attributes
    ----------
    n : int
        Samples at hand, missing ones not counted.
    tau : float
        Integrated autocorrelation time as estimated, in samples; below 1 where
        neighbours are negatively correlated.
    n_effective : float
        Independent samples with the same standard uncertainty of the mean,
        between 1 and `n`.
    capped : bool
        True when the estimate was above `n` (negative correlation, such as an
        oscillation that averages out) and `n` was taken instead.  Then the
        stated uncertainty is larger than the series would claim.
    unsettled : bool
        True when the series is too short for its correlation to die out, so
        that `tau` is a lower bound.
    """

    n: int
    tau: float
    n_effective: float
    capped: bool
    unsettled: bool


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
    products, pairs = _lagged(_centred(np.asarray(series, dtype=np.float64)))
    return _ratio(products, pairs)


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
    products, pairs = _lagged(_centred(values))
    return _summed(_ratio(products, pairs), counts.astype(np.float64))


def ar1_effective_size(n: ArrayLike, tau: ArrayLike) -> FloatArray:
    """Return the effective size of `n` samples for the mean, at any `n`.

    Parameters
    ----------
    n : (...) array
        Number of samples.
    tau : (...) array
        Integrated autocorrelation time, above 0. [samples]

    Returns
    -------
    (...) array
        ``n / (1 + 2 sum_(k=1)^(n-1) (1 - k/n) r^k)`` with
        ``r = (tau - 1) / (tau + 1)``.  This is exact for an AR(1) series with
        that `tau`; it tends to ``n / tau`` for long series and to 1 for series
        much shorter than `tau`.
    """
    count = np.asarray(n, dtype=np.float64)
    time = np.asarray(tau, dtype=np.float64)
    r = (time - 1.0) / (time + 1.0)
    # The finite sum in closed form; 1 - r = 2 / (1 + tau) never vanishes.
    gap = 2.0 / (1.0 + time)
    finite = r / gap - r * (1.0 - r**count) / (count * gap**2)
    size: FloatArray = count / (1.0 + 2.0 * finite)
    return size


def effective_size(series: ArrayLike) -> EffectiveSize:
    """Return what one series (n,) is worth for its mean.

    Raises
    ------
    ValueError
        When the series holds no sample.
    """
    return pooled_sizes([series])[0]


def pooled_sizes(windows: Sequence[ArrayLike], *, fitted: int = 1) -> tuple[EffectiveSize, ...]:
    """Return the effective size of several windows that share one noise.

    One short window says little about its own autocorrelation.  The windows of
    one run pass through the same sensor, filter and sampling, so their lagged
    products are added up, each window about its own mean, and one `tau` serves
    all.

    Parameters
    ----------
    windows : sequence of (n_i,) arrays
        Residuals of each window; NaN marks a missing sample.
    fitted : int
        Parameters that were fitted to each window to get its residuals: 1 for
        its mean, 2 for a straight line.

    Returns
    -------
    tuple of EffectiveSize
        One for each window, all with the same `tau`.

    Raises
    ------
    ValueError
        When there is no window, or one without a sample.
    """
    series = [np.asarray(window, dtype=np.float64) for window in windows]
    counts = [int(np.sum(np.isfinite(values))) for values in series]
    if not series or min(counts) == 0:
        raise ValueError("every window needs at least one sample")
    longest = max(values.size for values in series)
    products, pairs = np.zeros(longest), np.zeros(longest)
    for values in series:
        lagged, count = _lagged(_centred(values))
        products[: values.size] += lagged
        pairs[: values.size] += count
    # Each window loses its own mean or line, so the typical window sets the bias.
    typical = np.asarray(np.mean(counts) / fitted)
    covered = pairs > 0.0
    last = longest if bool(covered.all()) else int(np.argmin(covered))
    tau, unsettled = _summed(_ratio(products[:last], pairs[:last]), typical)
    return tuple(_size(count, float(tau), bool(unsettled)) for count in counts)


def u_of_mean(residuals: ArrayLike, n_effective: float) -> float:
    """Return the standard uncertainty of the mean of a correlated series.

    Parameters
    ----------
    residuals : (n,) array
        Samples less their mean; NaN marks a missing sample.
    n_effective : float
        Independent samples that the series is worth.

    Returns
    -------
    float
        ``sqrt(sum(d^2) / (n (n_effective - 1)))``: the sample variance about a
        mean that follows the samples is too small by the factor
        ``1 - 1 / n_effective``, which is put back.  It reduces to
        ``s / sqrt(n)`` for independent samples, carries ``n_effective - 1``
        degrees of freedom, and is infinite where the series is worth no more
        than one sample.
    """
    values = np.asarray(residuals, dtype=np.float64)
    values = values[np.isfinite(values)]
    if values.size == 0 or n_effective <= 1.0:
        return float("inf")
    return float(np.sqrt(values @ values / (values.size * (n_effective - 1.0))))


def _size(n: int, tau: float, unsettled: bool) -> EffectiveSize:
    claimed = float(ar1_effective_size(n, tau))
    return EffectiveSize(
        n=n,
        tau=tau,
        n_effective=min(max(claimed, 1.0), float(n)),
        capped=claimed > n * (1.0 + 1e-12),
        unsettled=unsettled,
    )


def _centred(values: FloatArray) -> FloatArray:
    """Take out the mean of each series; missing samples stay NaN."""
    seen = np.isfinite(values)
    count = np.maximum(seen.sum(axis=-1, keepdims=True), 1)
    mean = np.where(seen, values, 0.0).sum(axis=-1, keepdims=True) / count
    centred: FloatArray = np.where(seen, values - mean, np.nan)
    return centred


def _lagged(centred: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the sums of lagged products and the number of pairs, per lag."""
    n = centred.shape[-1]
    length = fft.next_fast_len(2 * n, real=True)
    seen = np.isfinite(centred)
    powers = []
    for values in (np.where(seen, centred, 0.0), seen.astype(np.float64)):
        spectrum = fft.rfft(values, length, axis=-1)
        powers.append(fft.irfft(np.abs(spectrum) ** 2, length, axis=-1)[..., :n])
    return powers[0], np.round(powers[1])


def _ratio(products: FloatArray, pairs: FloatArray) -> FloatArray:
    """Return autocorrelations from sums of products, as if no pair were missing."""
    n = products.shape[-1]
    lags = np.arange(n)
    share = (1.0 - lags / n) * pairs[..., :1] / np.maximum(pairs, 1.0)
    variance = products[..., :1]
    varies = variance > 0.0
    ratio: FloatArray = np.where(varies, products * share / np.where(varies, variance, 1.0), np.nan)
    return ratio


def _summed(rho: FloatArray, counts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Sum autocorrelations up to the self-consistent window."""
    n = rho.shape[-1]
    lags = np.arange(n)
    level = np.isnan(rho[..., 0])
    known = np.where(level[..., None], lags == 0, rho)
    running = 2.0 * np.cumsum(known, axis=-1) - 1.0 - np.where(lags > 0, known, 0.0)
    running = running * (1.0 + (2.0 * lags + 1.0) / np.maximum(counts, 1.0)[..., None])
    settled = (lags >= np.maximum(_WINDOW * running, _FEWEST_LAGS)) & (lags <= n / 2)
    unsettled = ~settled.any(axis=-1)
    first = np.argmax(settled, axis=-1)[..., None]
    half = running[..., : max(n // 2, 1)]
    chosen = np.where(
        unsettled, half.max(axis=-1), np.take_along_axis(running, first, axis=-1)[..., 0]
    )
    tau = np.where(level, 1.0, np.maximum(chosen, 1.0 / np.maximum(counts, 1.0)))
    return tau, unsettled & ~level
