"""Delay between clamp load and torque, from the ripple that both carry.

Each run is first reduced as if there were none, with a source of a nominal delay;
the delay found over all runs then moves the points along that source, and its
uncertainty sets the source's size.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize, sparse

from rigdata.arrays import FloatArray
from rigdata.errors import Notice, Severity
from rigdata.reduction.corrections import DELAY, DELAY_UNIT_S, CorrectedRun
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reading import Reading
from rigdata.reduction.stretches import Stretch, smoothed
from rigdata.reduction.windows import held_load

_GRID_S = 0.005
_REACH_S = 0.4  # lags looked at
_HALF_S = 0.15  # about the peak, that must balance
_SLOW_S = 2.0  # slower than this is warming and wear, not ripple
_SLOWEST_STEP_S = 0.06
_LEAST_PEAK = 0.1  # correlation of the two ripples


@dataclass(frozen=True, eq=False)
class Ripple:
    """Cross-correlation of the ripple of torque and load in one run.

    Attributes
    ----------
    covariance : (k,) float
        Sum over frames of torque times the load shown `lag` later, on the lags
        of `LAGS_S`. [N m N]
    torque, load : float
        Sums of squares of either ripple.
    step_s : float
        Time between frames.
    """

    covariance: FloatArray
    torque: float
    load: float
    step_s: float


@dataclass(frozen=True)
class Delay:
    """How much later the load shows than the torque. [s]

    Attributes
    ----------
    value, u : float
        The delay and its standard uncertainty; 0 and the time between samples
        as half-width of a rectangle where the ripple does not show it.
    found : bool
        Whether the ripple showed it.
    """

    value: float
    u: float
    found: bool


LAGS_S = np.linspace(-_REACH_S, _REACH_S, 161)


def ripple_of(corrected: CorrectedRun) -> Ripple | None:
    """Correlate the ripple of torque and load where the pack slips at a held load.

    Returns None for a log too slow to show a delay, and without such a stretch.
    """
    step = corrected.step_s
    if step > _SLOWEST_STEP_S:
        return None
    total = Ripple(np.zeros(LAGS_S.size), 0.0, 0.0, step)
    for stretch in held_load(corrected):
        if len(stretch) * step > 2 * _SLOW_S:
            total = _added(total, _in_stretch(corrected, stretch, step))
    return total if total.load > 0 and total.torque > 0 else None


def pooled_delay(ripples: Sequence[Ripple], sample_s: float) -> Delay:
    """Estimate one delay for the rig from the ripple of many runs.

    Parameters
    ----------
    ripples : sequence of Ripple
    sample_s : float
        Time between samples, which stands for the delay where nothing shows it.

    Notes
    -----
    The torque follows the load through the plates at once, so the two ripples are
    alike but for sensor delays.  Their cross-correlation is symmetric about the
    delay whatever the ripple's spectrum (a peak would have to be read from a
    cusp), so the delay is where the 0.15 s on either side balance:
    ``int_0^h [C(d + l) - C(d - l)] dl = 0``.  Its uncertainty is the jackknife's
    over the runs (B. Efron, The Jackknife, the Bootstrap and Other Resampling
    Plans, 1982, chapter 3).  Noise of the two cells is independent and leaves the
    balance alone.
    """
    unknown = Delay(0.0, sample_s / math.sqrt(3), found=False)
    if len(ripples) < 3:
        return unknown
    parts = np.array([r.covariance / math.sqrt(r.torque * r.load) for r in ripples])
    weights = np.reciprocal([r.step_s for r in ripples])
    parts = parts * (weights / weights.sum())[:, None]
    whole = parts.sum(axis=0)
    best = _balance(whole)
    if whole.max() < _LEAST_PEAK or best is None:
        return unknown
    without = [_balance(whole - part) for part in parts]
    left = np.array([value for value in without if value is not None])
    if left.size < len(ripples):
        return unknown
    u = math.sqrt((left.size - 1) / left.size * float(((left - left.mean()) ** 2).sum()))
    return Delay(best, max(u, 1e-4), found=True)


def aligned(points: FrictionPoints, delay: Delay) -> FrictionPoints:
    """Return the points as if load and torque had been logged at one time.

    The points carry the change of mu and pressure for a nominal delay; the delay
    found moves them along it (to first order, which is all that a delay of a few
    hundredths of a second needs), and its uncertainty becomes the source's size.
    """
    found = [i for i, source in enumerate(points.sources) if source.id == DELAY.id]
    if not found:
        return points
    steps, size = delay.value / DELAY_UNIT_S, delay.u / DELAY_UNIT_S
    scale = np.ones(len(points.sources))
    scale[found] = size
    moved = [m[:, found].sum(axis=1) * steps for m in points.influences]
    contributions, *shifts = (m @ sparse.diags_array(scale) for m in points.influences)
    return replace(
        points,
        mu=points.mu - moved[0],
        pressure_mpa=points.pressure_mpa * np.exp(-moved[3]),
        contributions=contributions.tocsr(),
        condition_shifts=tuple(shift.tocsr() for shift in shifts),
    )


def aligned_reading(reading: Reading, delay: Delay) -> Reading:
    """Return the reading of a point with its loads moved as `aligned` moves the point."""
    row = [i for i, source in enumerate(reading.sources) if source.id == DELAY.id]
    if not row:
        return reading
    shift = reading.load_shift.copy()
    load = reading.load_n - shift[row].sum(axis=0) * delay.value / DELAY_UNIT_S
    shift[row] *= delay.u / DELAY_UNIT_S
    return replace(reading, load_n=load, load_shift=shift)


def delay_notices(delay: Delay, where: str) -> list[Notice]:
    """Say what delay was found, where it is more than its uncertainty."""
    if not delay.found or abs(delay.value) < max(2 * delay.u, DELAY_UNIT_S):
        return []
    later = "later" if delay.value > 0 else "earlier"
    return [
        Notice(
            Severity.NOTE,
            where,
            f"clamp load shows {1e3 * abs(delay.value):.1f} ms (u {1e3 * delay.u:.1f} ms) {later} "
            "than torque beside the stated delays; corrected",
            "State lag_s of the channel in the rig file to have it taken off from the start.",
        )
    ]


def _in_stretch(corrected: CorrectedRun, stretch: Stretch, step: float) -> Ripple:
    width = 2 * round(_SLOW_S / step / 2) + 1
    good = corrected.usable[stretch.frames]
    ripples = []
    for signal in (corrected.torque.values, corrected.load.values):
        part = signal[stretch.frames]
        fast = (part - smoothed(part, width)) * good
        ripples.append(fast - fast.mean())
    torque, load = ripples
    size = torque.size
    reach = math.ceil(_REACH_S / step)
    lags = np.arange(-reach, reach + 1)
    # Lag by lag: a full correlation would cost the square of the length.
    sums = [
        torque[max(-lag, 0) : size - max(lag, 0)] @ load[max(lag, 0) : size - max(-lag, 0)]
        for lag in lags.tolist()
    ]
    covariance = np.interp(LAGS_S, lags * step, np.array(sums) * size / (size - np.abs(lags)))
    return Ripple(covariance, float(torque @ torque), float(load @ load), step)


def _added(first: Ripple, second: Ripple) -> Ripple:
    return Ripple(
        first.covariance + second.covariance,
        first.torque + second.torque,
        first.load + second.load,
        first.step_s,
    )


def _balance(correlation: FloatArray) -> float | None:
    """Lag about which the correlation balances, near its largest value; None if none does."""
    offsets = np.arange(_GRID_S / 2, _HALF_S, _GRID_S)

    def tilt(delay: float) -> float:
        after = np.interp(delay + offsets, LAGS_S, correlation)
        before = np.interp(delay - offsets, LAGS_S, correlation)
        return float((after - before).sum())

    peak = float(LAGS_S[int(np.argmax(correlation))])
    low, high = max(peak - _HALF_S / 2, -0.25), min(peak + _HALF_S / 2, 0.25)
    if low >= high or tilt(low) * tilt(high) > 0:
        return None
    return float(optimize.brentq(tilt, low, high, xtol=1e-6))
