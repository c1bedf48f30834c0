"""Torque oscillation in a window: how large, and how fast where the frames show it.

Logs faster than 200 Hz are averaged into frames of 5 ms or more, so a spectrum
of frames ends at 100 Hz or below.  What lies above is not lost: it is the
spread of the samples within their frames.  Both together are the power of the
oscillation, whatever its frequency.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import special

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.spectrum import find_line
from rigdata.uncertainty.taken_out import polynomials

LOWEST_HZ = 1.0  # slower than this is warming, wear and the sweep itself
LONGEST_S = 2.0  # pieces of a window in which slow changes are taken out
CONFIDENCE = 0.99  # that noise alone stays below the stated limit
_FEWEST = 8  # frames of a piece
# Of an oscillation at half the frame rate the frames keep sinc(1/2)^2 of the power.
_INSIDE_AT_HALF = 1.0 - (2.0 / math.pi) ** 2


class Oscillation(NamedTuple):
    """Torque oscillation of one window; NaN where a number cannot be given.

    Attributes
    ----------
    ripple : float
        Amplitude over mean torque: ``sqrt(2 (s^2 - s0^2)) / |T|`` with `s` the
        standard deviation of the torque samples faster than 1 Hz and `s0` that of
        the idle cell.  For a sine it is half of peak to peak.
    limit : float
        Ripple that noise like that of the idle cell stays below in 99 of 100 windows.
    hz : float
        Frequency of the line that carries the oscillation. [Hz]
    above_hz : float
        Lower limit of the frequency, where the oscillation is faster than the
        frames show. [Hz]
    """

    ripple: float = math.nan
    limit: float = math.nan
    hz: float = math.nan
    above_hz: float = math.nan


NOT_MEASURED = Oscillation()


@dataclass(frozen=True)
class CellNoise:
    """Noise of the torque cell at idle, nothing acting on it. [N m]

    Attributes
    ----------
    between : float
        Variance of the means of frames, slow changes taken out.
    within : float
        Variance of the samples about the means of their frames.
    dof_between, dof_within : float
        Degrees of freedom of either.
    """

    between: float
    within: float
    dof_between: float
    dof_within: float


@dataclass(frozen=True, eq=False)
class _Pieces:
    """The quick part of the torque in r pieces of a window, on a grid of k frames each.

    Attributes
    ----------
    quick : (r, k) float
        Torque less its slow changes; 0 where there is no frame. [N m]
    seen : (r, k) bool
        Where there is a frame.
    taken : int
        Degrees of freedom taken out with the slow changes.
    """

    quick: FloatArray
    seen: BoolArray
    taken: int

    @property
    def count(self) -> int:
        return int(np.count_nonzero(self.seen))

    @property
    def free(self) -> float:
        """Share of the degrees of freedom that are left."""
        return 1.0 - self.taken / self.count

    @property
    def variance(self) -> float:
        """Mean square of the quick part."""
        return float(np.sum(self.quick**2)) / self.count


def cell_noise(corrected: CorrectedRun) -> CellNoise | None:
    """Return the noise of the torque cell where the run is idle, None without such a stretch."""
    ends = [part for part in (corrected.idle.start, corrected.idle.end) if part is not None]
    frames = [np.arange(part.start, part.stop) for part in ends]
    frames = [part[corrected.usable[part]] for part in frames]
    found = [(part, pieces) for part in frames if (pieces := _pieces(corrected, part)) is not None]
    if not found:
        return None
    dof = sum(pieces.count * pieces.free for _, pieces in found)
    squares = sum(pieces.count * pieces.variance for _, pieces in found)
    inside = np.concatenate([part for part, _ in found])
    within, dof_within = _within(corrected, inside)
    return CellNoise(squares / dof, within, dof, dof_within)


def oscillation(corrected: CorrectedRun, frames: IntArray, noise: CellNoise | None) -> Oscillation:
    """Measure the torque oscillation in one window.

    Parameters
    ----------
    corrected : CorrectedRun
    frames : (m,) int array
        Frames of the window, rising; gaps are allowed.
    noise : CellNoise or None
        What to take off; None leaves the noise in and the limit unknown.

    Notes
    -----
    The torque is that of the cell less its zero: corrections that follow the
    speed would distort what is faster than they are.  Slow changes are a
    polynomial in each piece of at most 2 s.  The variance of samples is that of
    the frame means and that within frames together.

    An oscillation of frequency f leaves ``sinc(f t)^2`` of its power to the means
    of frames of length t, so more than ``1 - (2/pi)^2`` within frames is faster
    than half the frame rate, whatever line the frames show: that one is an alias.
    Below, the frequency is that of the strongest line of the spectrum, if it stands
    out from the noise about it.  What was faster than half the logging rate
    when it was logged is an alias that nothing here can tell.
    """
    pieces = _pieces(corrected, frames)
    torque = abs(float(corrected.torque.values[frames].mean()))
    if pieces is None or torque <= 0.0:
        return NOT_MEASURED
    within, dof_within = _within(corrected, frames)
    level, limit = 0.0, math.nan
    if noise is not None:
        level = noise.between * pieces.free + noise.within
        limit = math.sqrt(2.0 * _excess(pieces, noise, dof_within)) / torque
    power = max(pieces.variance + within - level, 0.0)
    inside = within - noise.within if noise is not None else 0.0
    step = corrected.step_s
    ripple = math.sqrt(2.0 * power) / torque
    if ripple > limit and inside > _INSIDE_AT_HALF * power:
        return Oscillation(ripple, limit, above_hz=0.5 / step)
    line = find_line(pieces.quick, pieces.seen, step, lowest_hz=LOWEST_HZ)
    carries = line is not None and line.power >= 0.25 * power
    return Oscillation(ripple, limit, hz=line.hz if line is not None and carries else math.nan)


def _excess(pieces: _Pieces, noise: CellNoise, dof_within: float) -> float:
    """Variance above that of the noise which chance reaches once in a hundred windows."""
    between, n = noise.between * pieces.free, pieces.count * pieces.free
    level = between + noise.within
    if level <= 0.0:
        return 0.0

    def freedom(first: float, second: float) -> float:
        spread = between**2 / first + (noise.within**2 / second if second > 0.0 else 0.0)
        return level**2 / spread  # Welch and Satterthwaite

    own, idle = freedom(n, dof_within), freedom(noise.dof_between, noise.dof_within)
    return level * (float(special.fdtri(own, idle, CONFIDENCE)) - 1.0)


def _within(corrected: CorrectedRun, frames: IntArray) -> tuple[float, float]:
    """Variance of samples about the means of their frames, and its degrees of freedom."""
    spread = corrected.torque.spread
    if spread is None:
        return 0.0, 0.0
    samples = corrected.n_samples[frames]
    total = float(samples.sum())
    return float(samples @ spread[frames] ** 2) / total, total - frames.size


def _pieces(corrected: CorrectedRun, frames: IntArray) -> _Pieces | None:
    """Cut a window into pieces on an even grid and take the slow changes out of each."""
    if frames.size < _FEWEST:
        return None
    step = corrected.step_s
    time = corrected.time_s[frames]
    slots = np.round((time - time[0]) / step).astype(np.int64)
    count = max(1, math.ceil((slots[-1] + 1) * step / LONGEST_S))
    length = math.ceil((slots[-1] + 1) / count)
    values, seen = np.zeros((2, count * length))
    values[slots], seen[slots] = corrected.tared_torque[frames], 1.0
    values, seen = values.reshape(count, length), seen.reshape(count, length)
    terms = max(2, math.ceil(2.0 * length * step * LOWEST_HZ))
    full = seen.sum(axis=1) >= max(_FEWEST, 0.5 * length, terms + 4)
    if not full.any():
        return None
    return _less_slow(values[full], seen[full], terms)


def _less_slow(values: FloatArray, seen: FloatArray, terms: int) -> _Pieces:
    """Take the polynomial of `terms` terms out of each row, by the frames that are there."""
    basis = polynomials(values.shape[1], terms)
    level = np.sum(values, axis=1, keepdims=True) / np.sum(seen, axis=1, keepdims=True)
    centred = (values - level) * seen
    if seen.all():
        fitted = centred @ basis @ basis.T
    else:
        products = np.einsum("rk,ki,kj->rij", seen, basis, basis)
        fitted = np.linalg.solve(products, (centred @ basis)[..., None])[..., 0] @ basis.T
    return _Pieces((centred - fitted) * seen, seen > 0.0, terms * len(values))
