"""A linear model with known and unknown covariance, in low rank throughout.

The model is ``y = X beta + e`` with ``cov(e) = V = diag(d) + C C^T + sum_i s_i V_i``:
`d` and `C` are known (measurement), the `s_i` are wanted, each at least 0.
Every `V_i` is either ``G G^T`` (an effect that many points share) or a diagonal
(one value a point).  With ``P = V^-1 - V^-1 X (X^T V^-1 X)^-1 X^T V^-1`` kept as
``diag(1/d) - U U^T`` nothing larger than n x (columns) is ever formed.

References
----------
H. D. Patterson and R. Thompson, Biometrika 58 (1971) 545; S. R. Searle, G. Casella
and C. E. McCulloch, Variance Components (1992), chapter 6.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy import linalg

from rigdata.arrays import FloatArray

_LOG_2PI = float(np.log(2.0 * np.pi))


@dataclass(frozen=True, eq=False)
class Component:
    """One variance component: exactly one of the two forms of ``V_i``.

    Attributes
    ----------
    name : str
        As in `Estimate.components`.
    factors : (n, q) array or None
        ``V_i = factors @ factors.T``.
    weights : (n,) array or None
        ``V_i = diag(weights)``.
    """

    name: str
    factors: FloatArray | None = None
    weights: FloatArray | None = None

    def scaled(self, curve: FloatArray) -> Component:
        """Return the component of effects that are relative to `curve` (n,)."""
        factors = None if self.factors is None else curve[:, None] * self.factors
        weights = None if self.weights is None else curve**2 * self.weights
        return Component(self.name, factors, weights)


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
    shared : (n, m) array
        C: known contributions of shared sources, one standard deviation each.
    components : tuple of c Component
        The unknown parts.
    """

    residual: FloatArray
    design: FloatArray
    diagonal: FloatArray
    shared: FloatArray
    components: tuple[Component, ...]


@dataclass(frozen=True, eq=False)
class Profile:
    """A `MixedModel` at given variances.

    Attributes
    ----------
    restricted, full : float
        Restricted and full log likelihood at the best `beta`.
    step : (p,) array
        Generalised least squares estimate less the current beta.
    covariance : (p, p) array
        ``(X^T V^-1 X)^-1``.
    score : (c,) array
        Derivative of the restricted log likelihood.
    information : (c, c) array
        Its expected information.
    observed : (c, c) array
        Its observed information, not always positive away from the maximum.
    trace : (c,) array
        ``tr(P V_i)``.
    inverse_diagonal : (n,) array
    inverse_factors : (n, k) array
        ``P = diag(inverse_diagonal) - inverse_factors @ inverse_factors.T``.
    projected : (n,) array
        ``P residual``, equal to ``V^-1`` times the residual at the best beta.
    weighted_design : (n, p) array
        ``V^-1 X``.
    """

    restricted: float
    full: float
    step: FloatArray
    covariance: FloatArray
    score: FloatArray
    information: FloatArray
    observed: FloatArray
    trace: FloatArray
    inverse_diagonal: FloatArray
    inverse_factors: FloatArray
    projected: FloatArray
    weighted_design: FloatArray

    def project(self, columns: FloatArray) -> FloatArray:
        """Return ``P @ columns`` for (n, k) columns: what they hold beyond the fitted model."""
        product: FloatArray = self.inverse_diagonal[:, None] * columns
        product -= self.inverse_factors @ (self.inverse_factors.T @ columns)
        return product


def profile(model: MixedModel, variances: FloatArray) -> Profile | None:
    """Return the likelihood of `model` at `variances`; None where V is no covariance."""
    diagonal = model.diagonal.copy()
    parts = [model.shared]
    for variance, component in zip(variances, model.components, strict=True):
        if component.weights is not None:
            diagonal += variance * component.weights
        elif component.factors is not None and variance > 0.0:
            parts.append(np.sqrt(variance) * component.factors)
    if not np.all(diagonal > 0.0):
        return None
    root = np.sqrt(diagonal)
    scaled = np.concatenate(parts, axis=1) / root[:, None]
    inner = scaled.T @ scaled
    inner[np.diag_indices_from(inner)] += 1.0
    # Parameters so far off that the curve overflows have no likelihood.
    if not (np.isfinite(inner).all() and np.isfinite(model.design).all()):
        return None
    try:
        lower = np.linalg.cholesky(inner)
    except np.linalg.LinAlgError:
        return None
    shrink = linalg.solve_triangular(lower, scaled.T, lower=True, check_finite=False)

    length = np.linalg.norm(model.design, axis=0)
    if not np.all(length > 0.0):  # a parameter that moves nothing
        return None
    design = model.design / (root[:, None] * length)
    residual = model.residual / root
    weighted = design - shrink.T @ (shrink @ design)
    try:
        inner_lower = np.linalg.cholesky(design.T @ weighted)
    except np.linalg.LinAlgError:
        return None
    fitted = linalg.solve_triangular(inner_lower, weighted.T, lower=True, check_finite=False)
    inverse = linalg.solve_triangular(inner_lower, np.eye(length.size), lower=True) / length

    factors = np.concatenate([shrink, fitted]).T / root[:, None]
    projected = model.residual / diagonal - factors @ (factors.T @ model.residual)
    covariance = inverse.T @ inverse
    weighted_design = weighted * length / root[:, None]
    logdet = 2.0 * (np.sum(np.log(root)) + np.sum(np.log(np.diag(lower))))
    squares = float(model.residual @ projected)
    n, p = model.design.shape
    fixed = 2.0 * (np.sum(np.log(np.diag(inner_lower))) + np.sum(np.log(length)))
    score, information, trace = _score(model, 1.0 / diagonal, factors, projected)
    return Profile(
        restricted=-0.5 * float(logdet + fixed + squares + (n - p) * _LOG_2PI),
        full=-0.5 * float(logdet + squares + n * _LOG_2PI),
        step=inverse.T @ (fitted @ residual),
        covariance=covariance,
        score=score,
        information=information,
        observed=_twice_average(model, 1.0 / diagonal, factors, projected) - information,
        trace=trace,
        inverse_diagonal=1.0 / diagonal,
        inverse_factors=factors,
        projected=projected,
        weighted_design=weighted_design,
    )


def _score(
    model: MixedModel, inverse: FloatArray, factors: FloatArray, projected: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the derivative of the restricted likelihood, its expected information, the traces.

    ``score_i = -(tr(P V_i) - y^T P V_i P y) / 2`` and ``info_ij = tr(P V_i P V_j) / 2``.
    """
    count = len(model.components)
    squares, trace, information = np.zeros(count), np.zeros(count), np.zeros((count, count))
    point_share = np.sum(factors**2, axis=1)
    wide = [i for i, c in enumerate(model.components) if c.factors is not None]
    flat = [i for i, c in enumerate(model.components) if c.weights is not None]
    blocks = [_factors(model.components[i]) for i in wide]
    ends = np.cumsum([0] + [block.shape[1] for block in blocks])
    joined = np.concatenate(blocks, axis=1) if blocks else np.zeros((inverse.size, 0))
    projected_blocks = joined * inverse[:, None] - factors @ (factors.T @ joined)
    inner = joined.T @ projected_blocks
    pulled = projected @ joined
    slices = [slice(start, stop) for start, stop in itertools.pairwise(ends.tolist())]
    for i, part in zip(wide, slices, strict=True):
        squares[i], trace[i] = np.sum(pulled[part] ** 2), np.trace(inner[part, part])
        for j, other in zip(wide, slices, strict=True):
            information[i, j] = 0.5 * np.sum(inner[part, other] ** 2)
    spread = [_gram(_weights(model.components[i]), factors) for i in flat]
    for a, i in enumerate(flat):
        weights = _weights(model.components[i])
        squares[i] = np.sum(weights * projected**2)
        trace[i] = np.sum(weights * (inverse - point_share))
        for j, part in zip(wide, slices, strict=True):
            shared = 0.5 * np.sum(weights[:, None] * projected_blocks[:, part] ** 2)
            information[i, j] = information[j, i] = shared
        for b, j in enumerate(flat):
            both = weights * _weights(model.components[j])
            own = np.sum(both * inverse * (inverse - 2.0 * point_share))
            information[i, j] = 0.5 * (own + np.sum(spread[a] * spread[b]))
    return 0.5 * (squares - trace), information, trace


def _twice_average(
    model: MixedModel, inverse: FloatArray, factors: FloatArray, projected: FloatArray
) -> FloatArray:
    """Return ``y^T P V_i P V_j P y``, the sum of expected and observed information."""
    columns = [
        c.factors @ (projected @ c.factors) if c.factors is not None else _weights(c) * projected
        for c in model.components
    ]
    pushed = np.reshape(np.array(columns), (len(columns), inverse.size)).T
    inner = factors.T @ pushed
    total: FloatArray = pushed.T @ (inverse[:, None] * pushed) - inner.T @ inner
    return total


def sensitivity(model: MixedModel, at: Profile) -> FloatArray:
    """Return the derivative of the covariance of beta with respect to each variance, (c, p, p).

    ``d Phi / d s_i = Phi X^T V^-1 V_i V^-1 X Phi`` with ``Phi = (X^T V^-1 X)^-1``.
    """
    towards = at.weighted_design @ at.covariance
    found = []
    for component in model.components:
        if component.factors is not None:
            root = towards.T @ component.factors
            found.append(root @ root.T)
        else:
            found.append(towards.T @ (_weights(component)[:, None] * towards))
    p = model.design.shape[1]
    return np.reshape(np.array(found), (len(found), p, p))


def _factors(component: Component) -> FloatArray:
    assert component.factors is not None
    return component.factors


def _gram(weights: FloatArray, factors: FloatArray) -> FloatArray:
    """Return ``factors.T @ diag(weights) @ factors``, over the points with a weight only."""
    rows = np.flatnonzero(weights)
    root = np.sqrt(weights[rows])[:, None] * factors[rows]
    product: FloatArray = root.T @ root
    return product


def _weights(component: Component) -> FloatArray:
    assert component.weights is not None
    return component.weights
