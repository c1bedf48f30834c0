"""Kinetic coefficients as the ratio of mean torque to mean load in a window."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.reduction.condition_shifts import condition_shifts
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.drafts import Draft
from rigdata.reduction.oscillation import CellNoise, cell_noise, oscillation
from rigdata.reduction.reading import linear_contributions, read
from rigdata.reduction.slip import stick_reason
from rigdata.reduction.windows import LOAD_BAND, Window
from rigdata.uncertainty.effective_size import EffectiveSize, PooledNoise, pooled_noise

LEAST_FRAMES = 4
_FROZEN_NM = 1e-6
# A window's own variance is worth its degrees of freedom, the run's this many.
_PRIOR_DOF = 10.0


def ratio_drafts(corrected: CorrectedRun, windows: Sequence[Window]) -> list[Draft]:
    """One friction point a window: ``mu = mean(T) / (N r_e mean(F))``.

    Parameters
    ----------
    corrected : CorrectedRun
    windows : sequence of Window
        Windows with fewer than `LEAST_FRAMES` frames give no point.

    Notes
    -----
    The random part is the spread of the residuals about a straight line in time,
    over the root of the effective number of frames; variance and
    autocorrelation time are pooled over the run, because a short window knows
    neither.  Slip speed is the geometric mean, in keeping with laws that are
    close to straight in ln v; where the plates stick and slip it is that of the
    drive, and the point is not used: part of its torque is static friction.
    """
    kept = [w for w in windows if w.frames.size >= LEAST_FRAMES]
    if not kept:
        return []
    residuals = [_residual(corrected, w) for w in kept]
    noise, cell = pooled_noise(residuals, fitted=2), cell_noise(corrected)
    return [
        _draft(corrected, window, residual, size, noise, cell)
        for window, residual, size in zip(kept, residuals, noise.sizes, strict=True)
    ]


def window_variance(residual: FloatArray, size: EffectiveSize, noise: PooledNoise) -> float:
    """Return the variance of a sample of one window, drawn to that of its run.

    The window counts with the degrees of freedom that its residuals have.
    """
    squares = float(residual @ residual) * size.n_effective / size.n
    dof = max(size.n_effective - noise.taken, 0.0)
    return (_PRIOR_DOF * noise.variance + squares) / (_PRIOR_DOF + dof)


def _residual(corrected: CorrectedRun, window: Window) -> FloatArray:
    frames = window.frames
    torque = corrected.torque.values[frames]
    load = corrected.load.values[frames]
    # Load that moves within its band moves the torque along, which is not noise.
    values = torque - torque.mean() / load.mean() * load
    time = corrected.time_s[frames] - corrected.time_s[frames].mean()
    slope = float(time @ values) / float(time @ time)
    arm = corrected.geometry.faces * corrected.geometry.radius_m
    residual: FloatArray = (values - slope * time) / (arm * load.mean())
    return residual


def _draft(
    corrected: CorrectedRun,
    window: Window,
    residual: FloatArray,
    size: EffectiveSize,
    noise: PooledNoise,
    cell: CellNoise | None,
) -> Draft:
    frames = window.frames
    sign = math.copysign(1.0, float(corrected.speed.values[frames].mean()))
    reading = read(corrected, [frames], sign)
    mean_load = float(reading.load_n[0])
    per_torque = 1.0 / (reading.arm_m * mean_load)
    mu = float(reading.torque_nm[0]) * per_torque
    n_effective = size.n_effective
    own = window_variance(residual, size, noise)
    speed = corrected.slip.speed[frames] * corrected.geometry.radius_m
    stick_share = float(corrected.slip.stuck[frames].mean())
    return Draft(
        kind="kinetic",
        method="ratio",
        direction=window.direction,
        slip_speed_m_s=float(np.exp(np.log(np.maximum(speed, 1e-9)).mean())),
        temperature_c=float(corrected.temperature.values[frames].mean()),
        pressure_mpa=mean_load / corrected.geometry.area_m2 / 1e6,
        mu=mu,
        u_random=math.sqrt(own / n_effective),
        n_samples=int(corrected.n_samples[frames].sum()),
        n_effective=n_effective,
        start_s=float(corrected.time_s[frames[0]]),
        end_s=float(corrected.time_s[frames[-1]]),
        contributions=linear_contributions(
            reading, np.array([per_torque]), np.array([-mu / mean_load]), mu
        ),
        shifts=condition_shifts(corrected, frames),
        reading=reading,
        oscillation=oscillation(corrected, frames, cell),
        stick_share=stick_share,
        reason=stick_reason(stick_share) or _fault(corrected, frames, mean_load, mu),
    )


def _fault(corrected: CorrectedRun, frames: IntArray, mean_load: float, mu: float) -> str:
    """Return why a window gives no coefficient to be used, empty where it does."""
    spread = float(corrected.load.values[frames].std())
    if spread > LOAD_BAND * abs(mean_load):
        return f"clamp load not steady: {100 * spread / abs(mean_load):.0f} % spread"
    if mu <= 0:
        return "coefficient not above zero"
    if float(np.ptp(corrected.tared_torque[frames])) < _FROZEN_NM:
        return "torque frozen"
    return ""
