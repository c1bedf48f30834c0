"""The line of torque against load, with an exponent for pressure and one for warming."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.uncertainty.effective_size import effective_size

_STEPS = 12
_MOST_ROUNDS = 30
_STILL = 1e-10
_STILL_REFIT = 1e-6  # in m and q; far below what any draw is known to


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
    warmth : (n,) float
        ``t - t0`` of each cell; nil where b was not fitted. [K]
    reference_x, reference_t : float
        x0, the geometric mean of x [N m], and t0, the mean temperature [degC].
    n_effective : float
        Independent cells.
    """

    coefficients: FloatArray
    covariance: FloatArray
    weights: FloatArray
    warmth: FloatArray
    reference_x: float
    reference_t: float
    n_effective: float

    @property
    def dof(self) -> float:
        """Degrees of freedom of `covariance`, 1 at least."""
        return max(self.n_effective - self.coefficients.size, 1.0)

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
        if np.abs(step[2:]).max() < _STILL:
            break
    variance = float(residual @ residual) / (x.size - count)
    size = effective_size(residual)
    return LoadLine(
        coefficients=theta[:count],
        covariance=weights @ weights.T * variance * size.n / size.n_effective,
        weights=weights,
        warmth=warmth,
        reference_x=reference,
        reference_t=float(temperature.mean()) if temperature is not None else float("nan"),
        n_effective=size.n_effective,
    )


def refit_load_line(line: LoadLine, x: FloatArray, torque: FloatArray) -> FloatArray:
    """Fit the line again to each of m sets of cells near the first.

    Parameters
    ----------
    line : LoadLine
        The line fitted to the cells themselves; x0 and t0 stay where they are.
    x, torque : (n, m) array
        ``N r_e F`` and friction torque of each cell in each set. [N m]

    Returns
    -------
    (k, m) array
        Coefficients of each set.

    Notes
    -----
    Gauss-Newton from the first line, all sets at once.  The problem is so
    nearly linear that two or three steps are enough.
    """
    ln_x = np.log(x / line.reference_x)
    count = line.coefficients.size
    theta = np.zeros((4, x.shape[1]))
    theta[:count] = line.coefficients[:, None]
    for _ in range(_MOST_ROUNDS):
        a, m, q, b = theta
        exponent = q * ln_x
        if count > 3:
            exponent += b * line.warmth[:, None]
        power = x * np.exp(exponent)
        columns = [power, m * power * ln_x]
        if count > 3:
            columns.append(m * power * line.warmth[:, None])
        residual = torque - a - m * power
        normal, pull = np.empty((count, count, a.size)), np.empty((count, a.size))
        normal[0, 0], pull[0] = len(x), residual.sum(axis=0)
        for i, column in enumerate(columns, start=1):
            normal[i, 0] = column.sum(axis=0)
            pull[i] = np.einsum("nm,nm->m", column, residual)
            for j, other in enumerate(columns[:i], start=1):
                normal[i, j] = np.einsum("nm,nm->m", column, other)
        step = _solved(normal, pull)
        theta[:count] += step
        if np.abs(step[1:]).max() < _STILL_REFIT:
            break
    return theta[:count]


def _solved(normal: FloatArray, right: FloatArray) -> FloatArray:
    """Solve m sets of k equations, (k, k, m) with the lower half filled and (k, m).

    Elimination without pivots, which a normal matrix does not need; k is so
    small that going over the sets one by one would take longer than all else.
    """
    count = len(right)
    for i in range(count):
        for j in range(i + 1, count):
            share = normal[j, i] / normal[i, i]
            for k in range(j, count):
                normal[k, j] -= share * normal[k, i]
            right[j] -= share * right[i]
    for i in reversed(range(count)):
        for j in range(i + 1, count):
            right[i] -= normal[j, i] * right[j]
        right[i] /= normal[i, i]
    return right
