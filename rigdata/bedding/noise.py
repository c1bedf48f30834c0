"""How points scatter about the course of their pack: alike within a run, and run by run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import optimize

from rigdata.arrays import FloatArray, IntArray, frozen
from rigdata.uncertainty.degrees import interval_dof

_MOST_ALIKE = 0.98  # correlation of neighbours
_FREE = 1e3  # times the points' scatter: a run's offset that nothing holds
_LEAST = 1e-6  # relative to mu, of a deviation that is looked for
_STEP = 1e-3
_TOLERANCE = 1e-3


@dataclass(frozen=True, eq=False)
class Layout:
    """The points of one pack in the order they were made.

    Attributes
    ----------
    run : (n,) int
        Number of the run of each; those of a run follow each other.
    known : (n,) float
        Standard deviation of each from measurement alone, relative to mu.
    """

    run: IntArray
    known: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "run", frozen(self.run, np.int64))
        object.__setattr__(self, "known", frozen(self.known))

    @cached_property
    def starts(self) -> IntArray:
        """(r,) first point of each run."""
        return np.flatnonzero(np.diff(self.run, prepend=self.run[0] - 1))

    @cached_property
    def lengths(self) -> IntArray:
        """(r,) points of each run."""
        return np.diff(np.append(self.starts, self.run.size))

    @cached_property
    def followers(self) -> IntArray:
        """Points that follow another of their run."""
        return np.flatnonzero(self.run[1:] == self.run[:-1]) + 1


@dataclass(frozen=True)
class Noise:
    """Errors of points that follow each other in runs, relative to mu.

    Attributes
    ----------
    point : float
        Standard deviation of a point within its run, beyond what measurement explains.
    alike : float
        Correlation of neighbouring points of a run, from 0 to 1.
    run : float
        Standard deviation of the offset of a run.
    point_dof, run_dof : float
        Degrees of freedom of the two; `run_dof` is 0 where the runs cannot show the
        scatter of their offsets, which are then free.

    Notes
    -----
    In each run ``cov = D R D + s_run^2 J`` with ``R_ij = alike^|i - j|``, J all ones
    and D the deviations of the points, measurement among them.
    """

    point: float
    alike: float
    run: float
    point_dof: float
    run_dof: float

    def whitened(self, columns: FloatArray, layout: Layout) -> FloatArray:
        """Return (n, k) columns over the points with errors independent and of size 1."""
        return self.whitened_with(columns, layout)[0]

    def whitened_with(self, columns: FloatArray, layout: Layout) -> tuple[FloatArray, float]:
        """Return the columns whitened, and the log determinant of the covariance."""
        size = np.hypot(self.point, layout.known)
        scaled = np.concatenate([columns, np.ones((size.size, 1))], axis=1) / size[:, None]
        turned, later = scaled.copy(), layout.followers
        turned[later] -= self.alike * scaled[later - 1]
        turned[later] /= np.sqrt(1.0 - self.alike**2)
        turned, unit = turned[:, :-1], turned[:, -1]
        strength = np.add.reduceat(unit**2, layout.starts)
        shrink = (1.0 - (1.0 + self.run**2 * strength) ** -0.5) / strength
        sums = np.add.reduceat(unit[:, None] * turned, layout.starts, axis=0)
        turned -= unit[:, None] * np.repeat(shrink[:, None] * sums, layout.lengths, axis=0)
        points = 2.0 * np.sum(np.log(size)) + later.size * np.log1p(-(self.alike**2))
        return turned, float(points + np.sum(np.log1p(self.run**2 * strength)))

    def dof(self, variance: Callable[[Noise], float]) -> float:
        """Return the degrees of freedom of a coefficient.

        Parameters
        ----------
        variance : callable
            Its variance under a noise.  That is of degree 1 in the variances of points,
            runs and measurement together, so its slopes are their shares; each has its
            own degrees of freedom, and what measurement explains is known.
        """
        here = variance(self)
        parts = []
        for name in ("point", "run"):
            up = replace(self, **{name: getattr(self, name) * (1.0 + _STEP)})
            parts.append((variance(up) - here) / (2.0 * _STEP * here))
        shares = np.clip(parts, 0.0, 1.0)
        if self.run_dof < 1.0:  # free offsets cost no knowledge of their scatter
            shares[1] = 0.0
        known = max(1.0 - float(shares.sum()), 0.0)
        dof = (max(self.point_dof, 1.0), max(self.run_dof, 1.0), np.inf)
        return float(interval_dof(np.sqrt([*shares, known]), np.array(dof)))


@dataclass(frozen=True, eq=False)
class Problem:
    """Points of several packs and all that is fitted to them, for the search of their noise.

    Attributes
    ----------
    layout : Layout
        Of all points; no two packs share a run.
    value : (n,) float
    fixed : (n, k) float
        Columns whose factors may be anything: levels and changes.
    surroundings : (n, q) float
        Columns whose factors are 0 within 1 standard deviation beforehand.
    """

    layout: Layout
    value: FloatArray
    fixed: FloatArray
    surroundings: FloatArray

    @cached_property
    def _columns(self) -> FloatArray:
        return np.concatenate([self.fixed, self.surroundings, self.value[:, None]], axis=1)

    def minus_two_log(self, noise: Noise) -> float:
        """Return -2 ln of the restricted likelihood, but for a constant.

        That of the values with the factors of all columns integrated out.
        """
        white, log_determinant = noise.whitened_with(self._columns, self.layout)
        products = white.T @ white
        prior = np.arange(self.fixed.shape[1], products.shape[0] - 1)
        products[prior, prior] += 1.0
        try:
            root = np.linalg.cholesky(products)
        except np.linalg.LinAlgError:
            return np.inf
        pivots = np.diag(root)
        fixed = 2.0 * float(np.sum(np.log(pivots[:-1])))
        return log_determinant + fixed + float(pivots[-1]) ** 2

    def run_terms(self, noise: Noise) -> float:
        """Return how many contrasts of runs the columns take up.

        Those of the surroundings count as far as their factors are free: by the trace
        of what they explain of the means of runs.
        """
        sums = np.add.reduceat(self._columns[:, :-1], self.layout.starts, axis=0)
        means = sums / self.layout.lengths[:, None]
        k = self.fixed.shape[1]
        basis, _ = np.linalg.qr(means[:, :k])
        left = means[:, k:] - basis @ (basis.T @ means[:, k:])
        strengths = np.linalg.svd(left, compute_uv=False) ** 2
        return float(k + np.sum(strengths / (strengths + noise.run**2)))


def find_noise(problem: Problem, start: Noise) -> Noise:
    """Return the noise that the packs of a group have in common.

    Restricted maximum likelihood, held off a scatter of runs of nought by a factor of
    that scatter: with few runs it is often found to be 0, and all that rests on it would
    look certain (Y. Chung et al., Psychometrika 78 (2013) 685).  Where there are no more
    runs than levels and changes, the offsets of runs are free.
    """
    n_runs, n_points = problem.layout.starts.size, problem.value.size
    held = n_runs > problem.fixed.shape[1]

    def noise(x: FloatArray) -> Noise:
        point = float(np.exp(np.clip(x[0], np.log(_LEAST), 0.0)))
        alike = _MOST_ALIKE / (1.0 + float(np.exp(-np.clip(x[1], -30.0, 30.0))))
        run = float(np.exp(np.clip(x[2], np.log(_LEAST), 0.0))) if held else _FREE * point
        worth = (1.0 - alike) / (1.0 + alike)
        return Noise(point, alike, run, max((n_points - n_runs) * worth, 1.0), 0.0)

    guess = [np.log(start.point), _logit(start.alike), np.log(max(start.run, 10.0 * _LEAST))]

    def loss(x: FloatArray) -> float:
        here = noise(x)
        return problem.minus_two_log(here) - 2.0 * float(np.log(here.run))

    found = noise(
        optimize.minimize(
            loss,
            np.array(guess if held else guess[:2]),
            method="Nelder-Mead",
            options={"xatol": _TOLERANCE, "fatol": _TOLERANCE, "maxiter": 400},
        ).x
    )
    if not held:
        return found
    return replace(found, run_dof=max(n_runs - problem.run_terms(found), 1.0))


def _logit(alike: float) -> float:
    share = min(max(alike / _MOST_ALIKE, 0.02), 0.98)
    return float(np.log(share / (1.0 - share)))
