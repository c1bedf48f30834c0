"""A line in the spectrum of a short record with gaps, tested against red noise."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from rigdata.arrays import BoolArray, FloatArray

FALSE_ALARM = 0.01  # chance that noise alone shows a line
_FEWEST = 8  # frequencies that a line must stand out from
# Of the noise: correlation between neighbours, and how far its slow end stands above the
# white noise on top of it.
_CORRELATIONS = np.tanh(np.linspace(-1.5, 2.75, 18))
_RISES = np.geomspace(3.0, 1e5, 9)


@dataclass(frozen=True)
class Line:
    """A line that stands out.

    Attributes
    ----------
    hz : float
        Its frequency. [Hz]
    power : float
        Variance that it carries, in the square of the unit of the record.
    """

    hz: float
    power: float


def find_line(
    values: FloatArray, seen: BoolArray, step_s: float, *, lowest_hz: float = 0.0
) -> Line | None:
    """Find the strongest line of a record, if it stands out from the noise.

    Parameters
    ----------
    values : (r, k) array
        The record in `r` pieces of `k` values on an even grid, each about nought;
        0 where a value is missing.
    seen : (r, k) bool array
        Where there is a value.
    step_s : float
        Step of the grid. [s]
    lowest_hz : float
        Lines below are not looked for. [Hz]

    Returns
    -------
    Line or None

    Notes
    -----
    The pieces are tapered (Hann) and their spectra averaged (P. D. Welch, 1967),
    missing values left out of the sums (T. J. Deeming, 1975).  The noise is that of
    a first-order autoregressive process, alone or under white noise, fitted to the
    logarithm of the spectrum by the median, which a few lines leave alone (after the
    idea of M. E. Mann and J. M. Lees, Climatic Change 33 (1996) 409).  The highest of
    `m` frequencies is a line where its ratio to the noise passes the F quantile that
    chance passes with probability ``FALSE_ALARM / m``.  Its frequency is the top of
    the parabola through the logarithms about the peak.  All sources from memory.
    """
    count, length = values.shape
    taper = np.hanning(length + 2)[1:-1]
    power = np.abs(np.fft.rfft(values * taper, axis=1)) ** 2
    # Its mean over all frequencies is twice the variance.
    density: FloatArray = 2.0 * power.sum(axis=0) / np.sum((taper * seen) ** 2)
    hz = np.arange(length // 2 + 1) / (length * step_s)
    first = max(2, int(np.searchsorted(hz, lowest_hz, side="left")))
    last = hz.size - 1 - (length % 2 == 0)  # half the rate itself has one degree of freedom
    if last - first + 1 < _FEWEST or not np.all(density[first : last + 1] > 0.0):
        return None
    band = slice(first, last + 1)
    background = _red_noise(density[band], _shapes(first, last, length), 2 * count)
    ratio = density[band] / background
    top = int(np.argmax(ratio))
    # Under the taper neighbours share their noise: half as many tell how large it is.
    chance = float(special.fdtrc(2 * count, ratio.size / 2, ratio[top])) * ratio.size
    if chance > FALSE_ALARM:
        return None
    at = first + top
    near = slice(max(first, at - 2), min(last, at + 2) + 1)
    above = density[near] - background[near.start - first : near.stop - first]
    shift = _parabola(np.log(density[at - 1 : at + 2])) if first < at < last else 0.0
    return Line(float((at + shift) / (length * step_s)), float(np.sum(above)) / length)


def _red_noise(density: FloatArray, shapes: FloatArray, dof: int) -> FloatArray:
    """Spectrum of the red noise that runs through the middle of `density`.

    Parameters
    ----------
    density : (m,) array
        Measured spectrum.
    shapes : (k, m) array
        Logarithms of the spectra that red noise may have.
    dof : int
        Degrees of freedom of each value.
    """
    apart = np.log(density) - shapes
    middle = np.median(apart, axis=1)
    misfit = np.mean(np.abs(apart - middle[:, None]), axis=1)
    best = int(np.argmin(misfit))
    mean_over_median = dof / float(special.chdtri(dof, 0.5))
    noise: FloatArray = np.exp(shapes[best] + middle[best]) * mean_over_median
    return noise


@lru_cache(maxsize=16)  # the windows of a log are nearly all as long as each other
def _shapes(first: int, last: int, length: int) -> FloatArray:
    """Logarithms of spectra of red noise at ``first / length`` to ``last / length`` a step."""
    cycles = np.arange(first, last + 1) / length
    r = _CORRELATIONS[:, None]
    red = (1.0 - r) ** 2 / (1.0 - 2.0 * r * np.cos(2.0 * np.pi * cycles) + r**2)
    mixed = 1.0 + np.multiply.outer(_RISES, red[_CORRELATIONS > 0.0])
    shapes: FloatArray = np.log(np.concatenate([red, mixed.reshape(-1, cycles.size)]))
    shapes.flags.writeable = False
    return shapes


def _parabola(three: FloatArray) -> float:
    """Place of the top of the parabola through three values one apart, from the middle one."""
    left, middle, right = three.tolist()
    bend = left - 2.0 * middle + right
    return 0.5 * (left - right) / bend if bend < 0.0 else 0.0
