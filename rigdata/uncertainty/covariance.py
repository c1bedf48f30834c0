"""A covariance matrix kept as its factors, never expanded.

The covariance of `n` points that share `s` sources is ``V = diag(d) + F F^T``:
`d` holds the variances of the independent random parts, and the columns of `F`
the signed contributions of the sources.  Everything a fit asks of it costs
``n s^2`` operations and ``n s`` numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rigdata.arrays import FloatArray, frozen


@dataclass(frozen=True, eq=False)
class LowRankCovariance:
    """The covariance ``V = diag(diagonal) + factors @ factors.T``.

    Attributes
    ----------
    diagonal : (n,) float
        Variances of the independent parts, above 0.
    factors : (n, s) float
        Contributions of `s` sources, one standard deviation each; `s` may be 0.

    Raises
    ------
    ValueError
        When the shapes do not match, a number is not finite or a variance is
        not positive.

    Notes
    -----
    With ``B = diag(d)^(-1/2) F`` and the eigenvalues `g` and eigenvectors `E`
    of the small matrix ``B^T B``, any function of ``I + B B^T`` follows without
    a large matrix: the inverse is ``I - B E diag(1 / (1 + g)) E^T B^T``, and
    the inverse square root ``I - B E diag(1 / (r (1 + r))) E^T B^T`` with
    ``r = sqrt(1 + g)``.  Neither divides by `g`, so sources that do not
    contribute, or repeat each other, do no harm.
    """

    diagonal: FloatArray
    factors: FloatArray
    _scale: FloatArray = field(init=False, repr=False)
    _rotated: FloatArray = field(init=False, repr=False)  # B E
    _gains: FloatArray = field(init=False, repr=False)  # g

    def __post_init__(self) -> None:
        diagonal, factors = frozen(self.diagonal), frozen(self.factors)
        if diagonal.ndim != 1 or factors.ndim != 2 or factors.shape[0] != diagonal.size:
            raise ValueError(f"shapes {diagonal.shape} and {factors.shape} do not match")
        if not (np.all(np.isfinite(diagonal)) and np.all(np.isfinite(factors))):
            raise ValueError("a covariance must be finite")
        if not np.all(diagonal > 0.0):
            raise ValueError("the independent variance of every point must be above 0")
        scale = np.sqrt(diagonal)
        scaled = factors / scale[:, None]
        gains, vectors = np.linalg.eigh(scaled.T @ scaled)
        # More sources than points have no more directions: what eigh finds there is rounding.
        extra = max(factors.shape[1] - factors.shape[0], 0)
        gains, vectors = gains[extra:], vectors[:, extra:]
        object.__setattr__(self, "diagonal", diagonal)
        object.__setattr__(self, "factors", factors)
        object.__setattr__(self, "_scale", frozen(scale))
        object.__setattr__(self, "_rotated", frozen(scaled @ vectors))
        object.__setattr__(self, "_gains", frozen(np.maximum(gains, 0.0)))

    def __len__(self) -> int:
        return int(self.diagonal.size)

    @property
    def variance(self) -> FloatArray:
        """(n,) diagonal of the covariance."""
        total: FloatArray = self.diagonal + np.sum(self.factors**2, axis=1)
        return total

    @property
    def logdet(self) -> float:
        """Natural logarithm of the determinant."""
        return float(np.sum(np.log(self.diagonal)) + np.sum(np.log1p(self._gains)))

    def dot(self, right: FloatArray) -> FloatArray:
        """Return ``V @ right`` for a vector (n,) or a matrix (n, k)."""
        product: FloatArray = _rows(self.diagonal, right) + self.factors @ (self.factors.T @ right)
        return product

    def solve(self, right: FloatArray) -> FloatArray:
        """Return ``V^-1 @ right`` for a vector (n,) or a matrix (n, k)."""
        first = self._solve_once(right)
        # One refinement: strong sources leave the difference of large numbers.
        return first + self._solve_once(right - self.dot(first))

    def whiten(self, right: FloatArray) -> FloatArray:
        """Return ``W @ right`` with ``W V W^T = I``.

        ``W = (I + B B^T)^(-1/2) diag(d)^(-1/2)``: each point is scaled by its own
        random part, then what the points share is taken out symmetrically, so
        that a whitened residual still belongs to its point.
        """
        root = np.sqrt(1.0 + self._gains)
        return self._shrink(_rows(1.0 / self._scale, right), 1.0 / (root * (1.0 + root)))

    def _solve_once(self, right: FloatArray) -> FloatArray:
        scaled = _rows(1.0 / self._scale, right)
        return _rows(1.0 / self._scale, self._shrink(scaled, 1.0 / (1.0 + self._gains)))

    def _shrink(self, scaled: FloatArray, weights: FloatArray) -> FloatArray:
        """Return ``(I - B E diag(weights) E^T B^T) @ scaled``."""
        pulled: FloatArray = scaled - self._rotated @ _rows(weights, self._rotated.T @ scaled)
        return pulled


def _rows(weights: FloatArray, matrix: FloatArray) -> FloatArray:
    """Scale the rows of a vector or a matrix."""
    scaled: FloatArray = (weights * np.asarray(matrix, dtype=np.float64).T).T
    return scaled
