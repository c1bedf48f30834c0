"""A linear model with known and unknown covariance, in nested low rank throughout.

The model is ``y = X beta + e`` with ``cov(e) = V = diag(d) + Z S Z^T + sum_i s_i W_i``.
The columns of Z are known contributions of shared sources, with a variance of 1, and
scatter effects, with the variance `s_i` of their component; components without
columns have weights W_i, one value a point.  `d` is known, the `s_i` are wanted,
each at least 0.  With ``P = V^-1 - V^-1 X (X^T V^-1 X)^-1 X^T V^-1`` never formed,
time and memory grow as the number of points (see `elimination`).

References
----------
H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545; S. R. Searle, G. Casella
and C. E. McCulloch, Variance Components (1992), chapter 6.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.columns import Columns
from rigdata.friction.information import terms_of
from rigdata.friction.inverse import Inverse, inverse_at, laid_out

_LOG_2PI = float(np.log(2.0 * np.pi))


@dataclass(frozen=True, eq=False)
class Component:
    """One variance component, of effects that points share or of one effect a point.

    Attributes
    ----------
    name : str
        As in `Estimate.components`.
    weights : (n,) array or None
        ``V_i = diag(weights)``; None where ``V_i = F F^T`` with F the columns of Z
        that it owns.
    prior : bool
        Whether it is what the parameters of a smooth may vary by, and no scatter.
    """

    name: str
    weights: FloatArray | None = None
    prior: bool = False

    def scaled(self, curve: FloatArray) -> Component:
        """Return the component of effects that are relative to `curve` (n,)."""
        return self if self.weights is None else Component(self.name, curve**2 * self.weights)


@dataclass(frozen=True, eq=False)
class MixedModel:
    """A linear, or linearised, model with known and unknown covariance.

    Attributes
    ----------
    residual : (n,) array
        ``y - X beta`` at any beta; a nonlinear model is linearised there.
    design : (n, p) array
        X, of full column rank.
    diagonal : (n,) array
        Known independent variances, 0 or more.
    columns : Columns
        Z: contributions of shared sources, one standard deviation each, and
        effects, of unit size each.
    components : tuple of c Component
        The unknown parts.
    """

    residual: FloatArray
    design: FloatArray
    diagonal: FloatArray
    columns: Columns
    components: tuple[Component, ...]

    @cached_property
    def laid_out(self) -> FloatArray:
        """Z, X and the residual in their tiles, (t, m, k + p + 1): the same at all variances."""
        return laid_out(self.columns, self.design, self.residual[:, None])

    def weighted(self) -> list[tuple[int, FloatArray]]:
        """Return the number and the weights of each component that has weights."""
        return [(i, c.weights) for i, c in enumerate(self.components) if c.weights is not None]

    def variance(self, variances: FloatArray) -> FloatArray:
        """Return the independent variance of every point, (n,)."""
        total = self.diagonal.copy()
        for i, weights in self.weighted():
            total += variances[i] * weights
        return total

    def times(self, right: FloatArray, variances: FloatArray) -> FloatArray:
        """Return ``V @ right`` for (n, j) columns."""
        known = np.append(variances, 1.0)  # that of sources comes last
        pulled = known[self.columns.slots.owner, None] * self.columns.pull(right)
        product: FloatArray = self.variance(variances)[:, None] * right
        product += self.columns.push(pulled)
        return product

    def by_component(self, right: FloatArray) -> list[FloatArray]:
        """Return what a unit effect of each member of each component has in (n, j) columns.

        Arrays (q, j) with a line for each of the q packs or runs, or each point: for
        component i, ``own.T @ own`` is ``right^T V_i right``.
        """
        pulled, owner = self.columns.pull(right), self.columns.slots.owner
        return [
            pulled[owner == i] if own.weights is None else np.sqrt(own.weights)[:, None] * right
            for i, own in enumerate(self.components)
        ]

    def scale(self, variances: FloatArray) -> FloatArray:
        """Return the standard deviation of the columns in every slot, (k,)."""
        known = np.append(variances, 1.0)
        root: FloatArray = np.sqrt(known[self.columns.slots.slot_owner])
        return root


@dataclass(frozen=True, eq=False)
class Profile:
    """A `MixedModel` at given variances.

    Attributes
    ----------
    model : MixedModel
    inverse : Inverse
        ``V^-1`` and P.
    restricted, full : float
        Restricted and full log likelihood at the best `beta`.
    step : (p,) array
        Generalised least squares estimate less the current beta.
    projected : (n,) array
        ``P residual``, equal to ``V^-1`` times the residual at the best beta.
    precision : (n,) array
        Diagonal of P.
    trace : (c,) array
        ``tr(P V_i)``.
    score : (c,) array
        Derivative of the restricted log likelihood.
    information : (c, c) array
        Its expected information.
    """

    model: MixedModel = field(repr=False)
    inverse: Inverse = field(repr=False)
    restricted: float
    full: float
    step: FloatArray
    projected: FloatArray
    precision: FloatArray
    trace: FloatArray
    score: FloatArray
    information: FloatArray

    @property
    def covariance(self) -> FloatArray:
        """(p, p) ``(X^T V^-1 X)^-1``."""
        return self.inverse.covariance

    @property
    def inverse_diagonal(self) -> FloatArray:
        """(n,) inverse of the independent variances."""
        return self.inverse.inverse_variance

    def project(self, columns: FloatArray) -> FloatArray:
        """Return ``P @ columns`` for (n, k) columns: what they hold beyond the fitted model."""
        return self.inverse.project(columns)

    @cached_property
    def weighted_design(self) -> FloatArray:
        """(n, p) ``V^-1 X``."""
        return self.inverse.weighted_design()

    @cached_property
    def observed(self) -> FloatArray:
        """(c, c) observed information, not always positive away from the maximum.

        ``y^T P V_i P V_j P y`` is the sum of the expected and the observed one.
        """
        model, columns = self.model, self.model.columns
        pulled = columns.pull(self.projected[:, None])
        own = columns.slots.owner[:, None] == np.arange(len(model.components))
        pushed = columns.push(pulled * own)
        for i, weights in model.weighted():
            pushed[:, i] = weights * self.projected
        observed: FloatArray = self.inverse.squares(pushed) - self.information
        return observed


def profile(model: MixedModel, variances: FloatArray) -> Profile | None:
    """Return the likelihood of `model` at `variances`; None where V is no covariance."""
    inverse = inverse_at(
        model.columns,
        model.scale(variances),
        model.variance(variances),
        model.design,
        model.laid_out,
    )
    if inverse is None:
        return None
    n, p = model.design.shape
    projected, step = inverse.projected(0)
    squares = float(model.residual @ projected)
    within = [float(np.sum(own**2)) for own in model.by_component(projected[:, None])]
    random, fixed = inverse.elimination.log_determinants
    logdet = float(np.sum(np.log(inverse.variance)) + random)
    terms = terms_of(inverse, [component.weights for component in model.components])
    return Profile(
        model=model,
        inverse=inverse,
        restricted=-0.5 * (logdet + float(fixed) + squares + (n - p) * _LOG_2PI),
        full=-0.5 * (logdet + squares + n * _LOG_2PI),
        step=step,
        projected=projected,
        precision=terms.precision,
        trace=terms.trace,
        score=0.5 * (np.array(within) - terms.trace),
        information=0.5 * terms.square,
    )


def sensitivity(model: MixedModel, at: Profile) -> FloatArray:
    """Return the derivative of the covariance of beta with respect to each variance, (c, p, p).

    ``d Phi / d s_i = Phi X^T V^-1 V_i V^-1 X Phi`` with ``Phi = (X^T V^-1 X)^-1``.
    """
    parts = model.by_component(at.weighted_design @ at.covariance)
    p = model.design.shape[1]
    return np.reshape([own.T @ own for own in parts], (len(parts), p, p))
