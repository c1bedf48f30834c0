"""Parameters with their covariance, and how well that covariance itself is known.

With few packs the scatter between packs is itself poorly known, so intervals
take Student's t for the part of a variance that was estimated.  Satterthwaite's
formula for the whole variance is not enough here: its weights are estimates
too, so that a spread between three packs that came out small by luck would be
taken for good knowledge, and the interval would be too short just when it
should not be (measured: 92 to 94 % instead of 95 % for three packs).  The estimated
and the known parts are therefore widened apart and added in quadrature.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.uncertainty.degrees import coverage_factor, interval_dof

LEVELS = ("pack", "run", "misfit")  # kinds of scatter, the most far-reaching first

_LEAST_DOF = 1.0
_ARRAYS = (
    "theta",
    "covariance",
    "variances",
    "sensitivity",
    "mean_square",
    "estimated",
    "dof",
    "nesting",
    "smoothing",
)


@dataclass(frozen=True, eq=False)
class Estimate:
    """The p parameters of a fit and the c variance components behind them.

    Attributes
    ----------
    theta : (p,) float
        Parameters.
    covariance : (p, p) float
        Their covariance; zero rows and columns for parameters that were held.
    components : tuple of c str
        Names of the variance components, the most far-reaching first: ``pack``,
        ``run``, ``misfit``, in a joint fit followed by the number of the group.
    variances : (c,) float
        Their restricted maximum likelihood estimates, relative to mu squared.
    sensitivity : (c, p, p) float
        Derivative of `covariance` with respect to each component.
    mean_square : (c,) float
        Variance of one effect as the data show it: the component and what the
        causes within it add.  It is this sum that the data estimate.
    estimated : (c,) float
        The part of it that comes from the components, to be widened by t; the rest is
        measurement and known, but for few degrees of freedom (see `mean_squares`).
    dof : (c,) float
        Degrees of freedom of that estimate, such as packs less 1.
    nesting : (c, c) float
        ``slopes @ nesting`` are derivatives with respect to the mean squares.
    smooths : tuple of s str
        Names of the smooths of a surface; none for a formula.
    smoothing : (s,) float
        What their parameters may vary by, as variances found with the others; they
        count as known in all of the above.
    """

    theta: FloatArray
    covariance: FloatArray
    components: tuple[str, ...]
    variances: FloatArray
    sensitivity: FloatArray
    mean_square: FloatArray
    estimated: FloatArray
    dof: FloatArray
    nesting: FloatArray
    smooths: tuple[str, ...] = ()
    smoothing: FloatArray = field(default_factory=lambda: np.zeros(0))

    @property
    def every_variance(self) -> dict[str, float]:
        """Every variance that was found, by name."""
        names = (*self.components, *self.smooths)
        return dict(zip(names, [*self.variances.tolist(), *self.smoothing.tolist()], strict=True))

    def __post_init__(self) -> None:
        for name in _ARRAYS:
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def variance(self, gradient: FloatArray) -> FloatArray:
        """Return the variance of quantities with this `gradient` (k, p), as (k,)."""
        value: FloatArray = np.sum((gradient @ self.covariance) * gradient, axis=1)
        return value

    def slopes(self, gradient: FloatArray) -> FloatArray:
        """Return how `variance` moves with each component, (k, c)."""
        each = [np.sum((gradient @ own) * gradient, axis=1) for own in self.sensitivity]
        return np.reshape(np.array(each), (len(each), len(gradient))).T

    def half_width(
        self, gradient: FloatArray, extra: FloatArray | None = None, level: float = 0.95
    ) -> FloatArray:
        """Return half the width of the interval of quantities with this `gradient`.

        Parameters
        ----------
        gradient : (k, p) array
            Derivatives of k quantities with respect to the parameters.
        extra : (k, c) array, optional
            How many times the estimated part of each mean square is added, for a
            value that carries one more effect of its own.
        level : float
            Probability of the two-sided interval.

        Returns
        -------
        (k,) array

        Notes
        -----
        With ``v_s`` the estimated part of the variance ``v`` and its degrees of
        freedom by `interval_dof`, the half width is
        ``sqrt(t^2 v_s + z^2 (v - v_s))``.  For balanced packs and no measurement
        error this is the exact t interval of the pack means.
        """
        parts = self.estimated_parts(gradient)
        known = np.maximum(self.variance(gradient) - parts.sum(axis=1), 0.0)
        if extra is not None:
            parts = parts + extra * self.estimated
        dof = interval_dof(np.sqrt(parts), np.maximum(self.dof, _LEAST_DOF))
        estimated = coverage_factor(dof, level) ** 2 * parts.sum(axis=1)
        half: FloatArray = np.sqrt(estimated + coverage_factor(np.inf, level) ** 2 * known)
        return half

    def estimated_parts(self, gradient: FloatArray) -> FloatArray:
        """Return the part of `variance` that the spread of the data shows, by component, (k, c).

        The variance is split from the most far-reaching components inwards: each
        takes its mean square times the derivative of the variance with respect to
        it, never more than is left.  The part of it that comes from scatter is
        returned; the rest, and what is left at the end, is known from calibration
        and radii.
        """
        known = self.variance(gradient)
        parts = self.mean_square * np.maximum(self.slopes(gradient) @ self.nesting, 0.0)
        for kind in dict.fromkeys(map(kind_of, self.components)):
            here = np.array([kind_of(name) == kind for name in self.components])
            wanted = parts[:, here].sum(axis=1)
            taken = np.minimum(wanted, known)
            share = taken / np.where(wanted > 0.0, wanted, 1.0)
            parts[:, here] *= share[:, None]
            known = known - taken
        filled = self.mean_square > 0.0
        share = self.estimated / np.where(filled, self.mean_square, 1.0)
        scatter: FloatArray = parts * share
        return scatter


@dataclass(frozen=True)
class CommonScatter:
    """A kind of scatter that is the same, relative to mu, in all groups that name it.

    Attributes
    ----------
    kind : str
        ``pack``, ``run`` or ``misfit``.
    variance : float or None
        Relative to mu squared, where it was found from more groups than those of
        the fit; None where these are to show it.
    dof : float or None
        Degrees of freedom of that variance with all that lies within it.
    """

    kind: str
    variance: float | None = None
    dof: float | None = None


def kind_of(component: str) -> str:
    """Return ``pack``, ``run`` or ``misfit``, without the number of the group."""
    return component.split()[0]
