"""Coefficients from the slope of torque against load, blind to any zero offset."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.errors import Notice, Severity
from rigdata.reduction.condition_shifts import condition_shifts
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.drafts import Draft
from rigdata.reduction.load_line import LoadLine, fit_load_line
from rigdata.reduction.oscillation import cell_noise, oscillation
from rigdata.reduction.reading import Reading, linear_contributions, read
from rigdata.reduction.slip import stick_reason
from rigdata.reduction.windows import LoadSweep
from rigdata.uncertainty.sources import Effect, Scope, Source

LEAST_RANGE = 2.0
_CELLS = 60
_LEAST_WARMING_K = 4.0
_QUARTILES = (0.25, 0.75)
_NEAR = 0.2  # in ln load, within which the torque oscillates as at the point itself


@dataclass(frozen=True, eq=False)
class _Cells:
    """Frames of a sweep gathered into cells short against it, long against the noise."""

    frames: IntArray
    reading: Reading
    temperature: FloatArray

    @property
    def x(self) -> FloatArray:
        """(c,) ``N r_e F``. [N m]"""
        return self.reading.load_n * self.reading.arm_m


def load_slope_drafts(
    corrected: CorrectedRun, sweeps: Sequence[LoadSweep]
) -> tuple[list[Draft], list[Notice]]:
    """Two friction points for each load sweep at a held slip speed.

    Parameters
    ----------
    corrected : CorrectedRun
    sweeps : sequence of LoadSweep
        Legs of rising and falling load; sweeps that span less than two to one
        are passed over.

    Returns
    -------
    drafts : list of Draft
        For each sweep the coefficient at the lower and upper quartile of ln load.
    notices : list of Notice
        For intercepts that are not zero within their uncertainty.

    Notes
    -----
    A torque offset that stays through the sweep (a bad zero, drag left in) goes
    into the intercept and biases neither point.  The plain slope of torque
    against load would be ``mu + dmu/dln p``, not mu, wherever mu depends on
    pressure, hence the exponent.  The plates warm up under way, and a fading mu
    would bend the line into the intercept; with the load both rising and falling
    the same load is seen cold and hot, which tells warming from load.

    The two points share the intercept's error: their 2 x 2 covariance is kept
    exactly as one shared source with signed contributions and a random part
    each.  Errors of the load enter through the effective variance,
    ``s_T^2 + (dT/dx)^2 s_x^2``; as the load spans its range many times over its
    noise, they do not flatten the slope.
    """
    drafts: list[Draft] = []
    notices: list[Notice] = []
    for number, sweep in enumerate(sweeps, start=1):
        cells = _gather(corrected, sweep)
        if cells is None:
            continue
        warming = sweep.both_ways and float(np.ptp(cells.temperature)) >= _LEAST_WARMING_K
        torque = cells.reading.torque_nm
        line = fit_load_line(cells.x, torque, cells.temperature if warming else None)
        drafts += _sweep_drafts(corrected, sweep, number, cells, line)
        notices += _intercept_notice(corrected, line, float(torque.max()))
    return drafts, notices


def _gather(corrected: CorrectedRun, sweep: LoadSweep) -> _Cells | None:
    frames: list[IntArray] = []
    for leg in sweep.legs:
        inside = np.arange(leg.start, leg.stop)
        inside = inside[corrected.usable[inside]]
        if inside.size >= 12:
            frames += np.array_split(inside, min(_CELLS, inside.size // 2))
    if not frames:
        return None
    together = np.concatenate(frames)
    sign = math.copysign(1.0, float(corrected.speed.values[together].mean()))
    reading = read(corrected, frames, sign)
    if reading.load_n.min() <= 0 or reading.load_n.max() < LEAST_RANGE * reading.load_n.min():
        return None
    warmth = np.array([corrected.temperature.values[cell].mean() for cell in frames])
    return _Cells(together, reading, warmth)


def _sweep_drafts(
    corrected: CorrectedRun, sweep: LoadSweep, number: int, cells: _Cells, line: LoadLine
) -> list[Draft]:
    geometry, run, frames = corrected.geometry, corrected.run, cells.frames
    ln_x = np.log(cells.x / line.reference_x)
    offsets = np.quantile(ln_x, _QUARTILES)
    mu, pick = line.mu(offsets), line.mu_slopes(offsets)
    covariance = pick @ line.covariance @ pick.T
    u = np.sqrt(np.diag(covariance))
    correlation = float(covariance[0, 1] / (u[0] * u[1]))
    shared = np.copysign(u * math.sqrt(abs(correlation)), [1.0, correlation])
    source = Source(
        f"load-intercept:{run.id}:{number}",
        Scope.RUN,
        Effect.ADDITIVE,
        "intercept of torque against load",
        dof=line.dof,
    )
    by_load = line.mu(ln_x) * (1 + line.coefficients[2]) * cells.reading.arm_m
    speed = corrected.slip.speed[frames] * geometry.radius_m
    shifts = condition_shifts(corrected, frames)
    cell, load_here = cell_noise(corrected), np.maximum(corrected.load.values[frames], 1e-9)
    stick_share = float(corrected.slip.stuck[frames].mean())
    drafts = []
    for i in range(2):
        weight = pick[i] @ line.weights
        contributions = linear_contributions(cells.reading, weight, -weight * by_load, float(mu[i]))
        contributions[source] = float(shared[i])
        x_here = line.reference_x * math.exp(offsets[i])
        load = x_here / cells.reading.arm_m
        near = np.abs(np.log(load_here / load)) < _NEAR
        drafts.append(
            Draft(
                kind="kinetic",
                method="load-slope",
                direction=sweep.direction,
                slip_speed_m_s=float(np.exp(np.log(np.maximum(speed, 1e-9)).mean())),
                temperature_c=_temperature_at(cells, line, float(offsets[i])),
                pressure_mpa=x_here / (geometry.faces * geometry.radius_m * geometry.area_m2) / 1e6,
                mu=float(mu[i]),
                u_random=float(u[i]) * math.sqrt(1 - abs(correlation)),
                n_samples=int(corrected.n_samples[frames].sum()),
                n_effective=line.n_effective,
                start_s=float(corrected.time_s[frames[0]]),
                end_s=float(corrected.time_s[frames[-1]]),
                contributions=contributions,
                shifts=shifts,
                reading=replace(cells.reading, line=line, ln_load=float(offsets[i])),
                oscillation=oscillation(corrected, np.sort(frames[near]), cell),
                stick_share=stick_share,
                reason=stick_reason(stick_share),
            )
        )
    return drafts


def _temperature_at(cells: _Cells, line: LoadLine, offset: float) -> float:
    """Temperature that a coefficient belongs to: t0 where warming was fitted, else as found."""
    if math.isfinite(line.reference_t):
        return line.reference_t
    away = np.abs(np.log(cells.x / line.reference_x) - offset)
    near = np.argsort(away)[: max(3, cells.x.size // 4)]
    return float(cells.temperature[near].mean())


def _intercept_notice(corrected: CorrectedRun, line: LoadLine, top_torque: float) -> list[Notice]:
    intercept = float(line.coefficients[0])
    if abs(line.intercept_t) < 3 or abs(intercept) < 0.02 * top_torque:
        return []
    u = math.sqrt(float(line.covariance[0, 0]))
    return [
        Notice(
            Severity.WARNING,
            f"run {corrected.run.id}",
            f"torque does not go to zero with the load: {intercept:.2g} N*m (u {u:.1g} N*m) "
            "is left at no load",
            "Look for a bad zero, drag left in, or load that never reaches the faces.",
        )
    ]
