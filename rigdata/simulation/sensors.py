"""What the sensors and the logger make of the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.simulation.noise import ar1, first_order


@dataclass(frozen=True)
class StrainCell:
    """A strain-gauge cell for torque or load, read in mV/V.

    Attributes
    ----------
    full_scale : float
        Quantity at full scale, in the unit of its calibration (N*m or kN).
    span_mv_v : float
        Reading at full scale, less the zero. [mV/V]
    bow : float
        Departure from the straight line, relative, at full scale.
    zero_mv_v : float
        Reading at nothing, on the day of the calibration. [mV/V]
    zero_sd_mv_v : float
        Scatter of the zero from run to run. [mV/V]
    drift_sd_mv_v : float
        Scatter of the zero's change within a run. [mV/V]
    white_sd_mv_v : float
        White noise of one sample. [mV/V]
    lag_s : float
        How much later than the truth it shows. [s]
    """

    full_scale: float
    span_mv_v: float
    bow: float = 0.0
    zero_mv_v: float = 0.0
    zero_sd_mv_v: float = 0.0
    drift_sd_mv_v: float = 0.0
    white_sd_mv_v: float = 0.0
    lag_s: float = 0.0

    def response(self, value: FloatArray) -> FloatArray:
        """Reading without noise and drift. [mV/V]"""
        part = value / self.full_scale
        return np.asarray(self.zero_mv_v + self.span_mv_v * part * (1.0 - self.bow * (1.0 - part)))

    def read(self, value: FloatArray, rng: np.random.Generator, step_s: float) -> FloatArray:
        """Reading of one run, with its own zero, drift and noise. [mV/V]"""
        count = value.size
        offset = rng.normal(0.0, self.zero_sd_mv_v)
        drift = rng.normal(0.0, self.drift_sd_mv_v) * np.linspace(0.0, 1.0, count)
        wander = ar1(rng, count, sd=0.2 * self.drift_sd_mv_v, correlation_s=8.0, step_s=step_s)
        white = rng.normal(0.0, self.white_sd_mv_v, count)
        late = delayed(value, self.lag_s, step_s)
        return self.response(late) + offset + drift + wander + white


@dataclass(frozen=True)
class DirectSensor:
    """A sensor that reads its quantity, with an error that lasts the campaign.

    Attributes
    ----------
    u : float
        Stated standard uncertainty of the lasting error, in the sensor's unit.
    error : float
        The lasting error itself.
    white_sd : float
        White noise of one sample.
    lag_s, time_constant_s : float
        Dead time and first-order lag. [s]
    """

    u: float
    error: float = 0.0
    white_sd: float = 0.0
    lag_s: float = 0.0
    time_constant_s: float = 0.0

    def read(self, value: FloatArray, rng: np.random.Generator, step_s: float) -> FloatArray:
        """Reading over one run, in the sensor's unit."""
        late = delayed(value, self.lag_s, step_s)
        slow = first_order(late, time_constant_s=self.time_constant_s, step_s=step_s)
        return slow + self.error + rng.normal(0.0, self.white_sd, value.size)


@dataclass(frozen=True)
class Logger:
    """Faults of the logger.

    Attributes
    ----------
    dropout : float
        Chance that a cell stays blank.
    spike : float
        Chance that a torque reading jumps.
    spike_mv_v : float
        Size of such a jump. [mV/V]
    """

    dropout: float = 0.0
    spike: float = 0.0
    spike_mv_v: float = 0.4

    def spoil(self, values: FloatArray, rng: np.random.Generator, *, spikes: bool) -> FloatArray:
        """Return the readings as logged: some blank (NaN), some jumped."""
        count = values.size
        jumps = (rng.random(count) < self.spike) * rng.choice([-1.0, 1.0], count) * self.spike_mv_v
        logged = values + jumps if spikes else values.copy()
        logged[rng.random(count) < self.dropout] = np.nan
        return logged


def delayed(values: FloatArray, lag_s: float, step_s: float) -> FloatArray:
    """Show `values` later by `lag_s`, straight lines between the samples."""
    if lag_s <= 0.0:
        return values.copy()
    place = np.arange(values.size, dtype=float)
    return np.asarray(np.interp(place - lag_s / step_s, place, values))
