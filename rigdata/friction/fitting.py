"""Nonlinear least squares with proof of convergence; the only user of lmfit.

Levenberg-Marquardt from every start, then a Gauss-Newton polish with a scaled
QR factorisation down to rounding.  A minimum counts as found only when the
last polish steps were negligible and the Jacobian there has full rank, so
a fit that ran off along a flat valley is told apart from one that arrived.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import lmfit
import numpy as np
from scipy import linalg

from rigdata.arrays import BoolArray, FloatArray, frozen

_TIGHT = 0.1  # lmfit tolerances, of the precision asked for
_ARRIVED = 1e-8  # the smallest step at which a polish stuck in rounding still counts
_HALVINGS = 40
_ROUNDING = 1e-10  # relative rise of a sum of squares that rounding alone can cause
_MOST_CONDITION = 1e12  # of the column-scaled Jacobian
_SAME_RSS = 1e-8  # two starts agree when their sums of squares do, relative,
_SAME_THETA = 1e-5  # and their parameters, relative

Vector = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """The end of a least-squares fit.

    Attributes
    ----------
    names : tuple of str
        Parameter names in the order of `theta`.
    theta : (p,) array
        Parameters at the smallest sum of squares found.
    covariance : (p, p) array
        Inverse of ``J^T J`` for residuals of unit variance; zero rows and
        columns for parameters on a bound.
    rss : float
        Sum of squares of the residuals.
    condition : float
        Condition number of the column-scaled Jacobian.
    offset : float
        Length of the residuals' projection on the tangent plane, relative to
        their own (Bates and Watts, Technometrics 23 (1981) 179).
    on_bound : tuple of str
        Parameters that ended on a bound.
    n_agree : int
        Starts that arrived at this minimum.
    converged : bool
        Whether this is a proven minimum.
    message : str
        What went wrong; empty when converged.
    """

    names: tuple[str, ...]
    theta: FloatArray
    covariance: FloatArray
    rss: float
    condition: float
    offset: float
    on_bound: tuple[str, ...]
    n_agree: int
    converged: bool
    message: str


def least_squares_fit(
    residual: Vector,
    jacobian: Vector,
    starts: Sequence[FloatArray],
    names: Sequence[str],
    bounds: Sequence[tuple[float, float]] | None = None,
    *,
    evaluations: int = 4000,
    polish_steps: int = 600,
    precision: float = 1e-12,
) -> LeastSquares:
    """Minimise the sum of squares of `residual` from every start and keep the best.

    Parameters
    ----------
    residual : function of (p,) to (n,)
        Residuals of unit variance, or of one unknown variance.
    jacobian : function of (p,) to (n, p)
        Their derivatives.
    starts : sequence of (p,) arrays
        Start values, inside the bounds.
    names : sequence of p str
        Parameter names; valid Python names.
    bounds : sequence of (low, high), optional
        Infinite where there is none.
    evaluations, polish_steps : int
        Most evaluations of lmfit and most steps of the polish, per start.  Large
        residuals make the polish converge linearly, so give it many steps.
    precision : float
        Size of a polish step, relative to the parameters, at which they stand still.

    Returns
    -------
    LeastSquares
        Check `converged` before use: a failure is told, not raised.
    """
    limits = np.array(bounds if bounds is not None else [(-np.inf, np.inf)] * len(names))
    problem = _Problem(
        residual, jacobian, tuple(names), limits, evaluations, polish_steps, precision
    )
    with np.errstate(all="ignore"):
        ends = [_polish(problem, _levenberg(problem, np.asarray(s, float))) for s in starts]
    best = min(ends, key=lambda end: (not end.converged, end.rss))
    n_agree = sum(end.converged and _same(end, best) for end in ends)
    return LeastSquares(
        problem.names,
        frozen(best.theta),
        frozen(best.covariance),
        best.rss,
        best.condition,
        best.offset,
        tuple(name for name, on in zip(names, best.on_bound, strict=True) if on),
        n_agree,
        best.converged,
        best.message,
    )


@dataclass(frozen=True)
class _Problem:
    residual: Vector
    jacobian: Vector
    names: tuple[str, ...]
    limits: FloatArray  # (p, 2)
    evaluations: int
    polish_steps: int
    precision: float

    def rss(self, theta: FloatArray) -> float:
        value = float(np.sum(self.residual(theta) ** 2))
        return value if np.isfinite(value) else np.inf


@dataclass(frozen=True)
class _End:
    theta: FloatArray
    covariance: FloatArray
    rss: float
    condition: float
    offset: float
    on_bound: BoolArray
    message: str

    @property
    def converged(self) -> bool:
        return not self.message


def _same(one: _End, best: _End) -> bool:
    scale = np.maximum(np.abs(best.theta), np.sqrt(np.diag(best.covariance)))
    near = np.all(np.abs(one.theta - best.theta) <= _SAME_THETA * np.maximum(scale, 1e-300))
    return bool(near) and one.rss <= best.rss * (1.0 + _SAME_RSS) + 1e-300


def _levenberg(problem: _Problem, start: FloatArray) -> FloatArray:
    """Return where lmfit's Levenberg-Marquardt ends, or the start where it fails.

    Parameters are scaled by their start values, so that one tolerance suits all.
    """
    scale = np.where(start != 0.0, np.abs(start), 1.0)
    parameters = lmfit.Parameters()
    rows = zip(problem.names, start / scale, problem.limits / scale[:, None], strict=True)
    for name, value, (low, high) in rows:
        parameters.add(name, value=value, min=low, max=high)

    def theta_of(values: lmfit.Parameters) -> FloatArray:
        theta: FloatArray = scale * np.array([values[name].value for name in problem.names])
        return theta

    minimizer = lmfit.Minimizer(
        lambda values: problem.residual(theta_of(values)),
        parameters,
        scale_covar=False,
        calc_covar=False,
        max_nfev=problem.evaluations,
    )
    try:
        result = minimizer.leastsq(
            Dfun=lambda values: problem.jacobian(theta_of(values)) * scale,
            col_deriv=0,
            ftol=_TIGHT * problem.precision,
            xtol=_TIGHT * problem.precision,
            gtol=0.0,
        )
    except (ValueError, TypeError, lmfit.minimizer.AbortFitException):
        return start  # residuals were not finite on the way
    end = theta_of(result.params)
    return end if problem.rss(end) <= problem.rss(start) else start


def _polish(problem: _Problem, theta: FloatArray) -> _End:
    """Iterate Gauss-Newton steps until they are negligible, parameters on bounds held."""
    low, high = problem.limits.T
    on_bound = (theta <= low) | (theta >= high)
    rss, message, previous = problem.rss(theta), "still moving after the last step", np.inf
    for _ in range(problem.polish_steps):
        tangent = _tangent(problem, theta, ~on_bound)
        if tangent.condition > _MOST_CONDITION:
            message = "the data do not determine all parameters"
            break
        size = float(np.max(np.abs(tangent.step) / tangent.scale(theta), initial=0.0))
        trial, trial_rss = _descend(problem, theta, tangent.step, rss)
        if size <= problem.precision or trial_rss > rss or (size <= _ARRIVED and size >= previous):
            message = "" if size <= _ARRIVED else "no step lowers the sum of squares"
            break
        theta, rss, previous = trial, trial_rss, size
        on_bound = on_bound | (theta <= low) | (theta >= high)
    tangent = _tangent(problem, theta, ~on_bound)
    return _End(
        theta, tangent.covariance, rss, tangent.condition, tangent.offset, on_bound, message
    )


def _descend(
    problem: _Problem, theta: FloatArray, step: FloatArray, rss: float
) -> tuple[FloatArray, float]:
    """Return the first of step, step/2, step/4 ... that does not raise the sum of squares.

    A rise by rounding is let pass: near the minimum the sum of squares is flat
    and the step still improves the parameters.
    """
    trial, trial_rss = theta, np.inf
    for halving in range(_HALVINGS):
        trial = np.clip(theta + step * 0.5**halving, *problem.limits.T)
        trial_rss = problem.rss(trial)
        if trial_rss <= rss * (1.0 + _ROUNDING):
            return trial, min(trial_rss, rss)
    return trial, trial_rss


@dataclass(frozen=True)
class _Tangent:
    step: FloatArray
    covariance: FloatArray
    condition: float
    offset: float

    def scale(self, theta: FloatArray) -> FloatArray:
        """What a step is small against: the parameter, or its uncertainty where that is 0."""
        floor = 1e-6 * np.sqrt(np.diag(self.covariance))
        scale: FloatArray = np.maximum(np.maximum(np.abs(theta), floor), 1e-300)
        return scale


def _tangent(problem: _Problem, theta: FloatArray, free: BoolArray) -> _Tangent:
    """Return the Gauss-Newton step and what the Jacobian says of the fit at `theta`."""
    residual, matrix = problem.residual(theta), problem.jacobian(theta)[:, free]
    step, covariance = np.zeros(theta.size), np.zeros((theta.size, theta.size))
    length = np.linalg.norm(matrix, axis=0)
    if not (np.all(np.isfinite(matrix)) and np.all(length > 0.0)):
        return _Tangent(step, covariance, np.inf, np.inf)
    q, r = np.linalg.qr(matrix / length)
    condition = float(np.linalg.cond(r)) if r.size else 1.0
    if not condition <= _MOST_CONDITION:
        return _Tangent(step, covariance, np.inf, np.inf)
    along = q.T @ residual
    step[free] = -linalg.solve_triangular(r, along) / length
    root = linalg.solve_triangular(r, np.eye(r.shape[0])) / length[:, None]
    covariance[np.ix_(free, free)] = root @ root.T
    offset = float(np.linalg.norm(along)) / max(float(np.linalg.norm(residual)), 1e-300)
    return _Tangent(step, covariance, condition, offset)
