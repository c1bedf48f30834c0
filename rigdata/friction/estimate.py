"""Parameters with their covariance, and how well that covariance itself is known.

With few packs the scatter between packs is itself poorly known, so intervals
take Student's t with degrees of freedom found from the uncertainty of the
variance components (Satterthwaite; as in Giesbrecht and Burns, Biometrics 41
(1985) 477).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.uncertainty.degrees import coverage_factor

_LEAST_DOF = 1.0


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
        Names of the variance components.
    variances : (c,) float
        Their restricted maximum likelihood estimates, relative to mu squared.
    component_covariance : (c, c) float
        Covariance of the estimates: inverse of the expected information.
    sensitivity : (c, p, p) float
        Derivative of `covariance` with respect to each component.
    """

    theta: FloatArray
    covariance: FloatArray
    components: tuple[str, ...]
    variances: FloatArray
    component_covariance: FloatArray
    sensitivity: FloatArray

    def __post_init__(self) -> None:
        for name in ("theta", "covariance", "variances", "component_covariance", "sensitivity"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def variance(self, gradient: FloatArray) -> FloatArray:
        """Return the variance of quantities with this `gradient` (k, p), as (k,)."""
        value: FloatArray = np.einsum("kp,pq,kq->k", gradient, self.covariance, gradient)
        return value

    def slopes(self, gradient: FloatArray) -> FloatArray:
        """Return how `variance` moves with each component, (k, c)."""
        value: FloatArray = np.einsum("kp,cpq,kq->kc", gradient, self.sensitivity, gradient)
        return value

    def coverage(self, variance: FloatArray, slopes: FloatArray, level: float = 0.95) -> FloatArray:
        """Return the factor that widens ``sqrt(variance)`` to an interval.

        Parameters
        ----------
        variance : (k,) array
            Variance of each quantity.
        slopes : (k, c) array
            Its derivatives with respect to the components.
        level : float
            Probability of the two-sided interval.

        Returns
        -------
        (k,) array
            Quantile of t at the effective degrees of freedom.
        """
        return coverage_factor(self.degrees_of_freedom(variance, slopes), level)

    def degrees_of_freedom(self, variance: FloatArray, slopes: FloatArray) -> FloatArray:
        """Return ``2 v^2 / var(v)``, at least 1, (k,)."""
        spread = np.einsum("kc,cd,kd->k", slopes, self.component_covariance, slopes)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            dof = np.where(spread > 0.0, 2.0 * variance**2 / spread, np.inf)
        bounded: FloatArray = np.maximum(dof, _LEAST_DOF)
        return bounded
