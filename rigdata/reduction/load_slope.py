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
from rigdata.reduction.stretches import Stretch
from rigdata.uncertainty.autocorrelation import effective_size
from rigdata.uncertainty.sources import Effect, Scope, Source

LEAST_RANGE = 2.0
_CELLS = 60
_QUARTILES = (0.25, 0.75)
_STEPS = 12


@dataclass(frozen=True, eq=False)
class LoadLine:
    """Torque against ``x = N r_e F`` over one leg of a load sweep.

    ``T = a + m x (x / x0)^q``: intercept a [N m], coefficient m at x0, and its
    exponent q of the load.

    Attributes
    ----------
    coefficients : (3,) float
        a, m and q.
    covariance : (3, 3) float
        From the scatter of the cells, widened by their autocorrelation.
    weights : (3, k) float
        Change of a, m and q for a unit of torque in each cell.
    reference_x : float
        x0, the geometric mean of x. [N m]
    n_effective : float
        Independent cells.
    """

    coefficients: FloatArray
    covariance: FloatArray
    weights: FloatArray
    reference_x: float
    n_effective: float

    def mu(self, ln_x: FloatArray) -> FloatArray:
        """Coefficient at ``ln(x / x0)``."""
        _, m, q = self.coefficients
        value: FloatArray = m * np.exp(q * ln_x)
        return value

    def mu_slopes(self, ln_x: FloatArray) -> FloatArray:
        """(k, 3) derivative of `mu` by a, m and q."""
        mu = self.mu(ln_x)
        return np.stack([np.zeros_like(mu), mu / self.coefficients[1], mu * ln_x], axis=1)

    @property
    def intercept_t(self) -> float:
        """Intercept over its standard uncertainty."""
        return float(self.coefficients[0]) / math.sqrt(float(self.covariance[0, 0]))


def load_slope_drafts(
    corrected: CorrectedRun, swept: Sequence[Stretch]
) -> tuple[list[Draft], list[Notice]]:
    """Two friction points for each leg of a load sweep.

    Parameters
    ----------
    corrected : CorrectedRun
    swept : sequence of Stretch
        Legs of rising or falling load; legs that span less than two to one are
        passed over.

    Returns
    -------
    drafts : list of Draft
        For each leg the coefficient at its lower and upper quartile of ln load.
    notices : list of Notice
        For intercepts that are not zero within their uncertainty.

    Notes
    -----
    A torque offset that stays through the leg (a bad zero, drag left in) goes
    into the intercept and biases neither point.  The plain slope of torque
    against load would be ``mu + dmu/dln p``, not mu, wherever mu depends on
    pressure, hence the exponent.  The two points share the intercept's error:
    their 2 x 2 covariance is kept exactly as one shared source with signed
    contributions and a random part each.  Errors of the load enter through the
    effective variance, ``s_T^2 + (dT/dx)^2 s_x^2``; as the load spans its range
    many times over its noise, they do not flatten the slope.
    """
    drafts: list[Draft] = []
    notices: list[Notice] = []
    for number, leg in enumerate(swept, start=1):
        frames = np.arange(leg.start, leg.stop)
        frames = frames[corrected.usable[frames]]
        if frames.size < 12 or leg.direction == "-":
            continue
        cells = np.array_split(frames, min(_CELLS, frames.size // 2))
        geometry = corrected.geometry
        sign = math.copysign(1.0, float(corrected.speed[frames].mean()))
        x = np.array([corrected.load.values[c].mean() for c in cells])
        x *= geometry.faces * geometry.radius_m
        torque = sign * np.array([corrected.torque.values[c].mean() for c in cells])
        if x.min() <= 0 or x.max() < LEAST_RANGE * x.min():
            continue
        line = fit_load_line(x, torque)
        drafts += _leg_drafts(corrected, leg, number, cells, x, sign, line)
        notices += _intercept_notice(corrected, number, line, float(torque.max()))
    return drafts, notices


def fit_load_line(x: FloatArray, torque: FloatArray) -> LoadLine:
    """Fit ``T = a + m x (x / x0)^q`` with equal weights, by Gauss-Newton.

    Parameters
    ----------
    x, torque : (k,) array
        ``N r_e F`` and friction torque of each cell. [N m]
    """
    reference = float(np.exp(np.log(x).mean()))
    ln_x = np.log(x / reference)
    a, m, q = 0.0, float(x @ torque / (x @ x)), 0.0
    for _ in range(_STEPS):
        power = x * np.exp(q * ln_x)
        design = np.stack([np.ones_like(x), power, m * power * ln_x], axis=1)
        residual = torque - a - m * power
        scale = np.abs(design).max(axis=0)
        weights = np.linalg.pinv(design / scale) / scale[:, None]
        step = weights @ residual
        a, m, q = a + step[0], m + step[1], q + step[2]
        if abs(step[2]) < 1e-10:
            break
    variance = float(residual @ residual) / (x.size - 3)
    size = effective_size(residual)
    return LoadLine(
        coefficients=np.array([a, m, q]),
        covariance=weights @ weights.T * variance * size.n / size.n_effective,
        weights=weights,
        reference_x=reference,
        n_effective=size.n_effective,
    )


def _leg_drafts(
    corrected: CorrectedRun,
    leg: Stretch,
    number: int,
    cells: Sequence[IntArray],
    x: FloatArray,
    sign: float,
    line: LoadLine,
) -> list[Draft]:
    geometry, run = corrected.geometry, corrected.run
    offsets = np.quantile(np.log(x / line.reference_x), _QUARTILES)
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
    frames = np.concatenate(cells)
    size = np.concatenate([np.full(c.size, 1.0 / c.size) for c in cells])
    cell_of = np.concatenate([np.full(c.size, i) for i, c in enumerate(cells)])
    local_slope = line.mu(np.log(x / line.reference_x)) * (1 + line.coefficients[2])
    speed = np.abs(corrected.speed[frames]) * geometry.radius_m
    drafts = []
    for i in range(2):
        weight = pick[i] @ line.weights
        torque_weight = sign * weight[cell_of] * size
        load_weight = -(weight * local_slope)[cell_of] * size * geometry.faces * geometry.radius_m
        contributions = linear_contributions(
            corrected, frames, torque_weight, load_weight, float(mu[i])
        )
        contributions[source] = float(shared[i])
        x_here = line.reference_x * math.exp(offsets[i])
        near = np.argsort(np.abs(np.log(x / x_here)))[: max(3, len(cells) // 4)]
        around = np.concatenate([cells[j] for j in near])
        drafts.append(
            Draft(
                kind="kinetic",
                method="load-slope",
                direction=leg.direction,
                slip_speed_m_s=float(np.exp(np.log(np.maximum(speed, 1e-9)).mean())),
                temperature_c=float(corrected.temperature[around].mean()),
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


def _intercept_notice(
    corrected: CorrectedRun, number: int, line: LoadLine, top_torque: float
) -> list[Notice]:
    intercept = float(line.coefficients[0])
    if abs(line.intercept_t) < 3 or abs(intercept) < 0.02 * top_torque:
        return []
    u = math.sqrt(float(line.covariance[0, 0]))
    return [
        Notice(
            Severity.WARNING,
            f"run {corrected.run.id}",
            f"torque does not go to zero with the load (leg {number}): "
            f"{intercept:.2g} N*m +- {u:.1g} N*m is left at no load",
            "Look for a bad zero, drag left in, or load that never reaches the faces.",
        )
    ]
