"""What taking its mean or a straight line out of a series takes of its noise.

A mean or a line follows noise that changes slowly, so what is left varies less than the
noise did and resembles itself for a shorter time.  How much so depends on how many
independent samples the series is worth and hardly on the kind of noise: it is worked
out for noise of the first order, AR(1), and undone for any.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from scipy import fft

from rigdata.arrays import FloatArray
from rigdata.uncertainty.autocorrelation import correlations, summed

_LEAST_WORTH = 2.0  # independent samples, below which what is left hardly changes any more
_LESS_SURE = 4.0  # more of them that one series alone still tells apart
_STEPS = 24
_UNTOUCHED = 100.0  # independent samples, above which next to nothing is taken
_ENOUGH = 256  # samples that stand for any more


@dataclass(frozen=True, eq=False)
class Left:
    """What is left of AR(1) noise, tabulated.

    Attributes
    ----------
    tau : (k,) array
        Integrated autocorrelation time of the noise, from 1 upwards. [samples]
    apparent : (k,) array
        The time that what is left appears to have, rising. [samples]
    kept : (k,) array
        Share of the variance that is left.
    """

    tau: FloatArray
    apparent: FloatArray
    kept: FloatArray

    def undone(self, apparent: float, longest: float) -> tuple[float, float]:
        """Return the time of the noise by that of what is left, and the share that is left.

        A time shorter than that of white noise goes on in proportion, with its share;
        none becomes longer than `longest`.
        """
        if apparent <= self.apparent[0]:
            return apparent / float(self.apparent[0]), float(self.kept[0])
        tau = min(float(np.interp(apparent, self.apparent, self.tau)), longest)
        tau = max(tau, apparent)
        return tau, float(np.interp(tau, self.tau, self.kept))


def put_back(apparent: float, n: int, fitted: int, series: float = 1.0) -> tuple[float, float]:
    """Return the time of noise by that of what is left of it, and the share that is left.

    Parameters
    ----------
    apparent : float
        Integrated autocorrelation time of what is left. [samples]
    n : int
        Samples of a series.
    fitted : int
        Parameters taken out of it: 1 for the mean, 2 for a straight line, and so on.
    series : float
        How many series of that length told the time.

    Notes
    -----
    What is left of ever slower noise is ever more alike, so that chance in its time is
    made far larger by putting back what was taken.  How slow the noise may be found is
    therefore limited, the more so the fewer series there are.
    """
    if n > _UNTOUCHED * apparent:
        return apparent, 1.0 - fitted * max(apparent, 1.0) / n
    scale = max(n // _ENOUGH, 1)
    longest = n / scale / (_LEAST_WORTH + _LESS_SURE / math.sqrt(series))
    tau, kept = left_of(n // scale, fitted).undone(apparent / scale, longest)
    return tau * scale, kept


@lru_cache(maxsize=256)
def left_of(n: int, fitted: int) -> Left:
    """Return what is left of series of `n` samples less `fitted` parameters, tabulated.

    Notes
    -----
    With Q the orthonormal polynomials that are taken out and ``G_st = r^|s-t|`` the
    correlation of the noise, the products at lag k of what is left add up to the sum
    of the kth diagonal of ``(I - Q Q^T) G (I - Q Q^T)`` on average.  The apparent time
    is what `integrated_time` makes of these averages.
    """
    tau = np.geomspace(1.0, max(n / _LEAST_WORTH, 1.0), _STEPS)
    taken = polynomials(n, fitted)
    diagonals = [_diagonals(taken, (one - 1.0) / (one + 1.0)) for one in tau.tolist()]
    pairs = n - np.arange(n, dtype=np.float64)
    rho = correlations(np.array(diagonals), np.broadcast_to(pairs, (tau.size, n)))
    apparent, _ = summed(rho, np.full(tau.size, n / fitted))
    kept = np.maximum(np.array([own[0] for own in diagonals]), 1.0) / n
    return Left(tau, np.maximum.accumulate(apparent), kept)


@lru_cache(maxsize=64)  # nearly all windows of a log are as long as each other
def polynomials(n: int, terms: int) -> FloatArray:
    """Polynomials over `n` even places, as orthonormal columns (n, terms)."""
    powers = legendre.legvander(np.linspace(-1.0, 1.0, n), terms - 1)
    columns: FloatArray = np.linalg.qr(powers)[0]
    columns.flags.writeable = False
    return columns


def _diagonals(taken: FloatArray, r: float) -> FloatArray:
    """Return the sums of the diagonals of ``(I - Q Q^T) G (I - Q Q^T)``, (n,), Q being `taken`."""
    n = len(taken)
    length = fft.next_fast_len(2 * n, real=True)
    lags = np.arange(n, dtype=np.float64)
    powers = r**lags
    around = np.zeros(length)
    around[:n] = powers
    around[length - n + 1 :] = powers[:0:-1]
    spectrum = fft.rfft(taken, length, axis=0)
    seen = fft.irfft(fft.rfft(around)[:, None] * spectrum, length, axis=0)[:n]  # G Q
    of_seen = fft.rfft(seen, length, axis=0)
    of_inner = fft.rfft(taken @ (taken.T @ seen), length, axis=0)
    products = np.conj(of_inner - of_seen) * spectrum - np.conj(spectrum) * of_seen
    diagonals: FloatArray = (n - lags) * powers + fft.irfft(products.sum(axis=1), length)[:n]
    return diagonals
