"""Coefficients from the slope of torque against load, blind to any zero offset."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.errors import Notice, Severity
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.drafts import Draft, linear_contributions
from rigdata.reduction.windows import LoadSweep
from rigdata.uncertainty.autocorrelation import effective_size
from rigdata.uncertainty.sources import Effect, Scope, Source

LEAST_RANGE = 2.0
_CELLS = 60
_LEAST_WARMING_K = 4.0
_QUARTILES = (0.25, 0.75)
_STEPS = 12


@dataclass(frozen=True, eq=False)
class LoadLine:
    """Torque against ``x = N r_e F`` over a load sweep.

    ``T = a + m x (x / x0)^q exp(b (t - t0))``: intercept a [N m], coefficient m
    at x0 and t0, exponent q of the load, and b for the plates' warming [1/K].

    Attributes
    ----------
    coefficients : (3,) or (4,) float
        a, m, q and, where the sweep can tell it from q, b.
    covariance : (k, k) float
        From the scatter of the cells, widened by their autocorrelation.
    weights : (k, n) float
        Change of each coefficient for a unit of torque in each cell.
    reference_x, reference_t : float
        x0, the geometric mean of x [N m], and t0, the mean temperature [degC].
    n_effective : float
        Independent cells.
    """

    coefficients: FloatArray
    covariance: FloatArray
    weights: FloatArray
    reference_x: float
    reference_t: float
    n_effective: float

    def mu(self, ln_x: FloatArray) -> FloatArray:
        """Coefficient at ``ln(x / x0)`` and the mean temperature."""
        value: FloatArray = self.coefficients[1] * np.exp(self.coefficients[2] * ln_x)
        return value

    def mu_slopes(self, ln_x: FloatArray) -> FloatArray:
        """(p, k) derivative of `mu` by the coefficients."""
        mu = self.mu(ln_x)
        slopes = np.zeros((ln_x.size, self.coefficients.size))
        slopes[:, 1] = mu / self.coefficients[1]
        slopes[:, 2] = mu * ln_x
        return slopes

    @property
    def intercept_t(self) -> float:
        """Intercept over its standard uncertainty."""
        return float(self.coefficients[0]) / math.sqrt(float(self.covariance[0, 0]))


@dataclass(frozen=True, eq=False)
class _Cells:
    """Frames of a sweep gathered into cells short against it, long against the noise."""

    frames: tuple[IntArray, ...]
    x: FloatArray
    torque: FloatArray
    temperature: FloatArray
    sign: float


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
        line = fit_load_line(cells.x, cells.torque, cells.temperature if warming else None)
        drafts += _sweep_drafts(corrected, sweep, number, cells, line)
        notices += _intercept_notice(corrected, line, float(cells.torque.max()))
    return drafts, notices


def fit_load_line(
    x: FloatArray, torque: FloatArray, temperature: FloatArray | None = None
) -> LoadLine:
    """Fit ``T = a + m x (x / x0)^q exp(b (t - t0))`` with equal weights, by Gauss-Newton.

    Parameters
    ----------
    x, torque : (n,) array
        ``N r_e F`` and friction torque of each cell. [N m]
    temperature : (n,) array, optional
        Plate temperature of each cell; without it b is nil. [degC]
    """
    reference = float(np.exp(np.log(x).mean()))
    ln_x = np.log(x / reference)
    warmth = np.zeros_like(x) if temperature is None else temperature - temperature.mean()
    theta = np.array([0.0, float(x @ torque / (x @ x)), 0.0, 0.0])
    count = 3 if temperature is None else 4
    for _ in range(_STEPS):
        a, m, q, b = theta
        power = x * np.exp(q * ln_x + b * warmth)
        columns = (np.ones_like(x), power, m * power * ln_x, m * power * warmth)
        design = np.stack(columns[:count], axis=1)
        residual = torque - a - m * power
        scale = np.abs(design).max(axis=0)
        weights = np.linalg.pinv(design / scale) / scale[:, None]
        step = weights @ residual
        theta[:count] += step
        if np.abs(step[2:]).max() < 1e-10:
            break
    variance = float(residual @ residual) / (x.size - count)
    size = effective_size(residual)
    return LoadLine(
        coefficients=theta[:count],
        covariance=weights @ weights.T * variance * size.n / size.n_effective,
        weights=weights,
        reference_x=reference,
        reference_t=float(temperature.mean()) if temperature is not None else float("nan"),
        n_effective=size.n_effective,
    )


def _gather(corrected: CorrectedRun, sweep: LoadSweep) -> _Cells | None:
    frames: list[IntArray] = []
    for leg in sweep.legs:
        inside = np.arange(leg.start, leg.stop)
        inside = inside[corrected.usable[inside]]
        if inside.size >= 12:
            frames += np.array_split(inside, min(_CELLS, inside.size // 2))
    if not frames:
        return None
    geometry = corrected.geometry
    sign = math.copysign(1.0, float(corrected.speed.values[np.concatenate(frames)].mean()))
    load = np.array([corrected.load.values[c].mean() for c in frames])
    if load.min() <= 0 or load.max() < LEAST_RANGE * load.min():
        return None
    return _Cells(
        frames=tuple(frames),
        x=load * geometry.faces * geometry.radius_m,
        torque=sign * np.array([corrected.torque.values[c].mean() for c in frames]),
        temperature=np.array([corrected.temperature.values[c].mean() for c in frames]),
        sign=sign,
    )


def _sweep_drafts(
    corrected: CorrectedRun, sweep: LoadSweep, number: int, cells: _Cells, line: LoadLine
) -> list[Draft]:
    geometry, run = corrected.geometry, corrected.run
    ln_x = np.log(cells.x / line.reference_x)
    offsets = np.quantile(ln_x, _QUARTILES)
    mu, pick = line.mu(offsets), line.mu_slopes(offsets)
    covariance = pick @ line.covariance @ pick.T
    u = np.sqrt(np.diag(covariance))
    correlation = float(covariance[0, 1] / (u[0] * u[1]))
    shared = u * math.sqrt(abs(correlation)) * np.array([1.0, math.copysign(1.0, correlation)])
    source = Source(
        f"load-intercept:{run.id}:{number}",
        Scope.RUN,
        Effect.ADDITIVE,
        "intercept of torque against load",
    )
    frames = np.concatenate(cells.frames)
    size = np.concatenate([np.full(c.size, 1.0 / c.size) for c in cells.frames])
    cell_of = np.concatenate([np.full(c.size, i) for i, c in enumerate(cells.frames)])
    by_load = line.mu(ln_x) * (1 + line.coefficients[2]) * geometry.faces * geometry.radius_m
    speed = np.abs(corrected.speed.values[frames]) * geometry.radius_m
    drafts = []
    for i in range(2):
        weight = pick[i] @ line.weights
        contributions = linear_contributions(
            corrected,
            frames,
            cells.sign * weight[cell_of] * size,
            -(weight * by_load)[cell_of] * size,
            float(mu[i]),
        )
        contributions[source] = float(shared[i])
        x_here = line.reference_x * math.exp(offsets[i])
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
