"""Static coefficients: the torque that the pack held just before it slipped."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.condition_shifts import condition_shifts
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.drafts import Draft
from rigdata.reduction.reading import linear_contributions, read
from rigdata.reduction.stretches import Stretch, bridge, runs_of
from rigdata.uncertainty.effective_size import effective_size

LEAST_DWELL_S = 0.3
_BEFORE_S = 0.5
_AFTER_S = 0.02
_RISE_S = 0.06
_BRIDGE_S = 0.02


def breakaway_drafts(corrected: CorrectedRun) -> list[Draft]:
    """One static point for each standstill under load that ended in slip.

    Notes
    -----
    Slip begins where the speed leaves its standstill noise for good; nothing is
    assumed of when the drive was told to turn.  The peak is the largest torque
    about that onset; its value is that of a parabola through the 60 ms (six
    frames at least) that led up to it, read at the peak, so that neither the
    noise raises it nor averaging over the rise lowers it.  The dwell is the time
    under load at standstill up to the onset.
    """
    time, step = corrected.time_s, corrected.step_s
    speed = np.abs(corrected.speed.values)
    # Twice the noise, and 1 % of the slip that follows: the wind-up of the drive is not slip.
    floor = max(2 * corrected.rest_speed, 0.01 * float(speed.max()))
    top = float(np.percentile(corrected.load.values, 99.5))
    pressed = corrected.load.values > 0.5 * top
    resting = bridge(pressed & (speed <= floor), max(1, round(_BRIDGE_S / step)))
    drafts = []
    for rest in runs_of(resting):
        dwell = float(time[rest.stop - 1] - time[rest.start])
        follows = slice(rest.stop, rest.stop + max(3, round(0.05 / step)))
        if dwell < LEAST_DWELL_S or rest.stop >= time.size:
            continue
        if pressed[follows].all() and (speed[follows] > floor).mean() > 0.5:
            drafts.append(_peak_draft(corrected, rest, dwell, step))
    return [d for d in drafts if d is not None]


def _peak_draft(corrected: CorrectedRun, rest: Stretch, dwell: float, step: float) -> Draft | None:
    time = corrected.time_s
    onset = time[rest.stop - 1]
    low = max(rest.start, int(np.searchsorted(time, onset - _BEFORE_S)))
    span = np.arange(low, int(np.searchsorted(time, onset + _AFTER_S)))
    span = span[corrected.usable[span]]
    width = max(6, round(_RISE_S / step))
    if span.size < width:
        return None
    torque = corrected.torque.values
    sign = math.copysign(1.0, float(torque[span[-1]]))
    peak = int(np.argmax(sign * torque[span]))
    frames = span[max(0, peak + 1 - width) : peak + 1]
    if frames.size < 4:
        return None
    weights, residual = _read_at_end(time[frames], torque[frames])
    reading = read(corrected, [frames], sign, weights)
    load = float(reading.load_n[0])
    per_torque = 1.0 / (reading.arm_m * load)
    mu = float(reading.torque_nm[0]) * per_torque
    tau = max(effective_size(residual).tau, 1.0)
    noise = float(residual @ residual) / (frames.size - 3)
    return Draft(
        kind="static",
        method="breakaway",
        direction="-",
        slip_speed_m_s=0.0,
        temperature_c=float(corrected.temperature.values[frames].mean()),
        pressure_mpa=load / corrected.geometry.area_m2 / 1e6,
        mu=mu,
        u_random=math.sqrt(noise * tau * float(weights @ weights)) * per_torque,
        n_samples=int(corrected.n_samples[frames].sum()),
        n_effective=max(frames.size / tau, 1.0),
        start_s=float(time[frames[0]]),
        end_s=float(time[frames[-1]]),
        dwell_s=dwell,
        contributions=linear_contributions(
            reading, np.array([per_torque]), np.array([-mu / load]), mu
        ),
        shifts=condition_shifts(corrected, frames, slips=False),
        reading=reading,
    )


def _read_at_end(time: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the weights that read a parabola at its last time, and its residuals."""
    back = time - time[-1]
    design = np.stack([np.ones_like(back), back, back**2], axis=1)
    solver = np.linalg.pinv(design)
    return solver[0], values - design @ (solver @ values)
