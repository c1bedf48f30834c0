"""How many independent samples a correlated series is worth.

Neighbouring samples of a log resemble each other, so the mean over a window of
`n` samples is known as if from ``n / tau`` independent ones, with `tau` the
integrated autocorrelation time in samples.  Residuals of a window (the samples less
their mean or trend) are what belongs in here; NaN marks a missing sample.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import FloatArray
from rigdata.uncertainty.autocorrelation import (
    centred,
    chance_of_time,
    correlations,
    lagged,
    summed,
)
from rigdata.uncertainty.taken_out import put_back

_BLOCKS = 64  # of a typical window
_CLEARLY = 2.0  # standard uncertainties


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


@dataclass(frozen=True)
class PooledNoise:
    """The noise that several windows share.

    Attributes
    ----------
    sizes : tuple of EffectiveSize
        What each window is worth, with one `tau` for all.
    variance : float
        Of one sample, with what was fitted to the windows put back.
    taken : float
        Independent samples that the fit of a window took out of its residuals; the
        parameters fitted where the noise is quickly over.
    """

    sizes: tuple[EffectiveSize, ...]
    variance: float
    taken: float


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
    return pooled_noise([series]).sizes[0]


def pooled_noise(windows: Sequence[ArrayLike], *, fitted: int = 1) -> PooledNoise:
    """Return the noise that several windows share, and what each is worth for its mean.

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

    Raises
    ------
    ValueError
        When there is no window, or one without a sample.

    Notes
    -----
    Beside noise that is quickly over, a slow part of a tenth of its power is not seen lag
    by lag, but it is what the mean of a window hangs on.  So long windows are also folded
    into means of blocks, some 64 of a typical window, and where these show clearly more
    than chance, that `tau` is taken.  What the fit took of the noise is put back by
    `put_back`.
    """
    series = [centred(np.asarray(window, dtype=np.float64)) for window in windows]
    counts = [_count(values) for values in series]
    if not series or min(counts) == 0:
        raise ValueError("every window needs at least one sample")
    noise = _shared(series, 1, fitted)
    length = int(np.median(counts)) // _BLOCKS
    if length > 1:
        slower = _shared(series, length, fitted)
        if slower.tau - noise.tau > _CLEARLY * slower.chance * slower.tau:
            noise = slower
    sizes = tuple(_size(count, noise.tau, noise.unsettled) for count in counts)
    return PooledNoise(sizes, noise.variance, noise.taken)


class _Shared(NamedTuple):
    """Noise as blocks of one length tell it; `chance` is the relative uncertainty of `tau`."""

    tau: float
    chance: float
    unsettled: bool
    variance: float
    taken: float


def _shared(series: Sequence[FloatArray], length: int, fitted: int) -> _Shared:
    used = [values for values in series if values.size >= length]
    blocks = used if length == 1 else [centred(_folded(values, length)) for values in used]
    typical = round(float(np.mean([_count(values) for values in blocks])))
    products, pairs = _added([lagged(values) for values in blocks])
    squares, samples = sum(float(np.nansum(v**2)) for v in used), sum(_count(v) for v in used)
    if products[0] <= 0.0:
        gone = squares > 0.0  # what varies, within a block
        return _Shared(0.0 if gone else 1.0, 0.0, False, 0.0, fitted)
    apparent, unsettled = summed(correlations(products, pairs), np.asarray(typical / fitted))
    alike = float(pairs[0]) / typical
    tau, kept = put_back(float(apparent), typical, fitted, alike)
    of_blocks = float(products[0] / pairs[0]) / kept
    # A fit takes the same sum of squares of blocks, each of `length` samples, as of samples.
    variance = (squares + length * float(pairs[0]) * (1.0 - kept) * of_blocks) / samples
    return _Shared(
        tau=tau * length * of_blocks / variance,
        chance=chance_of_time(float(apparent), float(pairs[0])),
        unsettled=bool(unsettled),
        variance=variance,
        taken=float(ar1_effective_size(typical, max(tau, 1.0))) * (1.0 - kept),
    )


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


def _count(values: FloatArray) -> int:
    return int(np.sum(np.isfinite(values)))


def _size(n: int, tau: float, unsettled: bool) -> EffectiveSize:
    claimed = float(ar1_effective_size(n, tau))
    return EffectiveSize(
        n=n,
        tau=tau,
        n_effective=min(claimed, float(n)),
        capped=claimed > n * (1.0 + 1e-12),
        unsettled=unsettled,
    )


def _folded(values: FloatArray, length: int) -> FloatArray:
    """Return the means of blocks of `length`, NaN for a block without a sample."""
    whole = values[: values.size // length * length].reshape(-1, length)
    seen = np.isfinite(whole)
    count = seen.sum(axis=1)
    means: FloatArray = np.where(
        count > 0, np.where(seen, whole, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan
    )
    return means


def _added(parts: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """Add lagged products and pairs of series of several lengths, up to a lag that none has."""
    longest = max(own.size for own, _ in parts)
    products, pairs = np.zeros((2, longest))
    for own, count in parts:
        products[: own.size] += own
        pairs[: own.size] += count
    covered = pairs > 0.0
    last = longest if bool(covered.all()) else int(np.argmin(covered))
    return products[:last], pairs[:last]
