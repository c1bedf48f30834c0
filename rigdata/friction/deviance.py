"""The deviance of a law's parameters: the least weighted squares with one of them held."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.friction.joint import JointFit
from rigdata.friction.whitening import Whitened

FOR_GOOD = 100.0  # what follows the points over such a factor follows them for good

_TURNS = 80
_STILL = 1e-5  # gain in deviance that a further step promises
_FIRST_DAMPING, _LEAST_DAMPING, _MOST_DAMPING = 1e-3, 1e-5, 1e8


@dataclass(frozen=True, eq=False)
class Place:
    """The least deviance with coordinate `held` kept where it is.

    Attributes
    ----------
    held : int
    at : (k,) array
        Coordinates of the parameters.
    deviance : float
        Weighted squares there, ``r^T V^-1 r``.
    slope : float
        Derivative of the least deviance by the coordinate held.
    moving : (k,) bool array
        Coordinates that are refitted and on no bound.
    tangent : (n, k) array
        Derivatives of the weighted residuals.
    """

    held: int
    at: FloatArray
    deviance: float
    slope: float
    moving: BoolArray
    tangent: FloatArray

    @cached_property
    def direction(self) -> FloatArray:
        """(k,) how the other coordinates follow the one held, with 1 for itself."""
        direction = np.zeros(self.at.size)
        direction[self.held] = 1.0
        if np.isfinite(self.deviance):
            along = _step(self.tangent[:, self.moving], self.tangent[:, self.held], 0.0)[0]
            direction[self.moving] = along
        return direction

    def towards(self, value: float) -> FloatArray:
        """Return where the others will be about when the coordinate held is at `value`, (k,)."""
        along: FloatArray = self.at + (value - self.at[self.held]) * self.direction
        return along


class Deviance:
    """Weighted squares of one fit against its k free parameters, its covariance kept fixed.

    A parameter whose bounds are above 0 is a scale, and its coordinate is its logarithm.
    """

    def __init__(self, fit: JointFit) -> None:
        design, theta = fit.design, fit.estimate.theta
        self._problem = Whitened(design, theta, fit.estimate.variances)
        low, high = design.limits[design.free].T
        self.scales: BoolArray = low > 0.0
        self.low, self.high = self.coordinates(low), self.coordinates(high)
        self.best: FloatArray = self.coordinates(theta[design.free])

    def coordinates(self, values: FloatArray) -> FloatArray:
        """Return the coordinates of parameters, (k,)."""
        return np.where(self.scales, np.log(np.where(self.scales, values, 1.0)), values)

    def value(self, i: int, coordinate: float) -> float:
        """Return the parameter whose coordinate this is."""
        return float(np.exp(coordinate)) if self.scales[i] else coordinate

    def rate(self, i: int) -> float:
        """Return the derivative of the parameter by its coordinate, at the fit."""
        return self.value(i, float(self.best[i])) if self.scales[i] else 1.0

    def reach(self, i: int, sign: int, step: float) -> tuple[float, bool]:
        """Return how far from the fit the coordinate can be followed, and if that is to a bound.

        `step` is a large step.  Without a bound a hundred times the fitted value of what
        cannot be negative, and a hundred steps of what may have either sign, are enough.
        """
        bound = float((self.high if sign > 0 else self.low)[i])
        if np.isfinite(bound):
            return abs(bound - float(self.best[i])), True
        return FOR_GOOD * (abs(float(self.best[i])) if np.isfinite(self.low[i]) else step), False

    def stretch(self, place: Place) -> float:
        """Return the most that a scale moves in a step of 1 of the coordinate held."""
        return float(np.max(np.abs(place.direction[self.scales]), initial=1e-300))

    def run_off(self, place: Place) -> bool:
        """Whether what cannot be negative makes up for all: it is a hundred times its value."""
        bounded = np.isfinite(self.low) & ~self.scales & (self.best > self.low)
        return bool(np.any(place.at[bounded] > FOR_GOOD * self.best[bounded]))

    def least(self, i: int, start: FloatArray) -> Place:
        """Return the least deviance with coordinate `i` held where `start` (k,) has it.

        Gauss-Newton steps, damped where they fail (D. W. Marquardt, J. SIAM 11 (1963) 431);
        the others stay within their bounds.  Infinite where the curve is not to be had.
        """
        with np.errstate(over="ignore", invalid="ignore"):  # far out a step may overflow
            return self._least(i, start)

    def _least(self, i: int, start: FloatArray) -> Place:
        others = np.arange(start.size) != i
        at, damping = np.clip(start, self.low, self.high), 0.0
        residual, tangent = self._residual(at), self._tangent(at)
        if not (np.isfinite(residual).all() and np.isfinite(tangent).all()):
            return Place(i, at, np.inf, 0.0, others, tangent)
        for _ in range(_TURNS):
            moving = others & ~self._stopped(at, tangent.T @ residual)
            step, gain = _step(tangent[:, moving], residual, damping)
            if gain <= _STILL or damping > _MOST_DAMPING:
                break
            trial = at.copy()
            trial[moving] += step
            trial = np.clip(trial, self.low, self.high)
            left = self._residual(trial)
            if left @ left <= residual @ residual:
                at, residual, tangent = trial, left, self._tangent(trial)
                damping = damping / 10.0 if damping > _LEAST_DAMPING else 0.0
            else:
                damping = max(10.0 * damping, _FIRST_DAMPING)
        moving = others & ~self._stopped(at, tangent.T @ residual)
        slope = 2.0 * float(tangent[:, i] @ residual)
        return Place(i, at, float(residual @ residual), slope, moving, tangent)

    def _stopped(self, at: FloatArray, gradient: FloatArray) -> BoolArray:
        """Return which coordinates stand on a bound and press against it, (k,)."""
        low, high = at <= self.low, at >= self.high
        stopped: BoolArray = (low & (gradient > 0.0)) | (high & (gradient < 0.0))
        return stopped

    def _residual(self, at: FloatArray) -> FloatArray:
        return self._problem.residual(self._values(at))

    def _tangent(self, at: FloatArray) -> FloatArray:
        values = self._values(at)
        return self._problem.jacobian(values) * np.where(self.scales, values, 1.0)

    def _values(self, at: FloatArray) -> FloatArray:
        return np.where(self.scales, np.exp(np.where(self.scales, at, 0.0)), at)


def _step(tangent: FloatArray, residual: FloatArray, damping: float) -> tuple[FloatArray, float]:
    """Return the damped step of least squares, (k,), and the gain that it promises."""
    k = tangent.shape[1]
    length = np.linalg.norm(tangent, axis=0)
    length = np.where(length > 0.0, length, 1.0)
    scaled = tangent / length
    matrix = np.concatenate([scaled, np.sqrt(damping) * np.eye(k)])
    wanted = np.concatenate([-residual, np.zeros(k)])
    step = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
    left = residual + scaled @ step
    return step / length, float(residual @ residual - left @ left)
