"""Static coefficients: the torque that the pack held just before it slipped."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.drafts import Draft, linear_contributions
from rigdata.reduction.stretches import Stretch, bridge, runs_of
from rigdata.reduction.windows import rest_speed
from rigdata.uncertainty.autocorrelation import effective_size

LEAST_DWELL_S = 0.3
_BEFORE_S = 1.0
_AFTER_S = 0.1
_PEAK_S = 0.02
_BRIDGE_S = 0.02


def breakaway_drafts(corrected: CorrectedRun) -> list[Draft]:
    """One static point for each standstill under load that ended in slip.

    Notes
    -----
    Slip begins where the speed leaves its standstill noise for good; nothing is
    assumed of when the drive was told to turn.  The peak is the largest of a
    moving mean over 20 ms (three frames at least) from one second before the
    onset to a tenth after it, so that noise alone does not raise it; its random
    part is the noise about a parabola through the peak, over the root of the
    effective number of frames averaged.  The dwell is the time under load at
    standstill up to the onset.
    """
    time, step = corrected.time_s, float(np.median(np.diff(corrected.time_s)))
    speed = np.abs(corrected.speed)
    # Twice the noise, and 1 % of the slip that follows: the wind-up of the drive is not slip.
    floor = max(2 * rest_speed(corrected), 0.01 * float(speed.max()))
    top = float(np.percentile(corrected.load.values, 99.5))
    pressed = corrected.load.values > 0.5 * top
    resting = bridge(pressed & (speed <= floor), max(1, round(_BRIDGE_S / step)))
    drafts = []
    for rest in runs_of(resting):
        dwell = float(time[rest.stop - 1] - time[rest.start])
        follows = slice(rest.stop, rest.stop + max(3, round(0.05 / step)))
        slipped = pressed[follows].all() and (speed[follows] > floor).mean() > 0.5
        if dwell >= LEAST_DWELL_S and rest.stop < time.size and slipped:
            drafts.append(_peak_draft(corrected, rest, dwell, step))
    return [d for d in drafts if d is not None]


def _peak_draft(corrected: CorrectedRun, rest: Stretch, dwell: float, step: float) -> Draft | None:
    time = corrected.time_s
    low = max(rest.start, int(np.searchsorted(time, time[rest.stop - 1] - _BEFORE_S)))
    high = int(np.searchsorted(time, time[rest.stop - 1] + _AFTER_S))
    width = max(3, round(_PEAK_S / step))
    span = np.arange(low, min(high, time.size))
    span = span[corrected.usable[span]]
    if span.size < 2 * width:
        return None
    torque = corrected.torque.values[span]
    sign = math.copysign(1.0, float(torque[np.argmax(np.abs(torque))]))
    means = np.convolve(sign * torque, np.full(width, 1.0 / width), mode="valid")
    first = int(np.argmax(means))
    frames = span[first : first + width]
    load = float(corrected.load.values[frames].mean())
    geometry = corrected.geometry
    per_torque = sign / (geometry.faces * geometry.radius_m * load)
    mu = float(corrected.torque.values[frames].mean()) * per_torque
    near = span[max(0, first - 2 * width) : first + width]
    residual = _about_parabola(time[near], corrected.torque.values[near]) * abs(per_torque)
    n_eff = max(width / max(effective_size(residual).tau, 1.0), 1.0)
    equal = np.full(frames.size, 1.0 / frames.size)
    return Draft(
        kind="static",
        method="breakaway",
        direction="-",
        slip_speed_m_s=0.0,
        temperature_c=float(corrected.temperature[frames].mean()),
        pressure_mpa=load / geometry.area_m2 / 1e6,
        mu=mu,
        u_random=float(residual.std(ddof=3)) / math.sqrt(n_eff),
        n_samples=int(corrected.n_samples[frames].sum()),
        n_effective=n_eff,
        start_s=float(time[frames[0]]),
        end_s=float(time[frames[-1]]),
        dwell_s=dwell,
        contributions=linear_contributions(
            corrected, frames, equal * per_torque, -equal * mu / load, mu
        ),
    )


def _about_parabola(time: FloatArray, values: FloatArray) -> FloatArray:
    """Residuals of a parabola through the rise to the peak."""
    centred = (time - time.mean()) / max(float(np.ptp(time)), 1e-12)
    design = np.stack([np.ones_like(centred), centred, centred**2], axis=1)
    residual: FloatArray = values - design @ np.linalg.lstsq(design, values, rcond=None)[0]
    return residual
