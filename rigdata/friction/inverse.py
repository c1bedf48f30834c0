"""The inverse of a covariance kept in nested form, applied without ever being formed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.columns import Columns, Parts
from rigdata.friction.elimination import Elimination, Moments, eliminate
from rigdata.friction.nesting import flattened


@dataclass(frozen=True, eq=False)
class Inverse:
    """``V^-1`` of ``V = D + Z S Z^T``, and P, which leaves the columns of X out of it.

    Attributes
    ----------
    columns : Columns
        Z.
    fitted : (n, p) array
        X.
    variance : (n,) array
        Diagonal of D.
    scale : (k,) array
        Roots of S by slot.
    whole : (t, m, k + p + j) array
        Z, X and j columns more that were carried along, in their tiles.
    inverse_root : (t, m) array
        Inverse roots of D, 0 in empty rows.
    moments : Moments
        Of Z and of these columns, under ``D^-1``.
    elimination : Elimination
        Made from them.
    """

    columns: Columns
    fitted: FloatArray
    variance: FloatArray
    scale: FloatArray
    whole: FloatArray
    inverse_root: FloatArray
    moments: Moments
    elimination: Elimination

    @cached_property
    def inverse_variance(self) -> FloatArray:
        """(n,) ``1 / D``."""
        inverse: FloatArray = 1.0 / self.variance
        return inverse

    @property
    def covariance(self) -> FloatArray:
        """(p, p) ``(X^T V^-1 X)^-1``."""
        root = self.covariance_root
        product: FloatArray = root @ root.T
        return product

    @property
    def covariance_root(self) -> FloatArray:
        """(p, p) R with ``R R^T`` the covariance."""
        q = self.elimination.n_wide
        return self.elimination.wide_root[q:, q:]

    def part(self, tiles: slice | IntArray) -> FloatArray:
        """Return Z, X and the carried columns in some tiles, divided by the roots of D."""
        divided: FloatArray = self.inverse_root[tiles, :, None] * self.whole[tiles]
        return divided

    def project(self, right: FloatArray) -> FloatArray:
        """Return ``P @ right`` for (n, j) columns."""
        return self._less(right, self._solved(right, fitted=True))

    def squares(self, right: FloatArray) -> FloatArray:
        """Return ``right^T P right`` for (n, j) columns."""
        scaled = self.inverse_variance[:, None] * right
        parts = self.elimination.seen(self._pulled(scaled))
        taken = np.concatenate([flattened(part) for part in parts])
        product: FloatArray = right.T @ scaled - taken.T @ taken
        return product

    def weighted_design(self) -> FloatArray:
        """Return ``V^-1 X``, (n, p)."""
        columns = slice(self.elimination.n_wide, len(self.elimination.wide_root))
        return self._less(self.fitted, self.elimination.carried(columns, fitted=False))

    def projected(self, j: int) -> tuple[FloatArray, FloatArray]:
        """Return P times the carried column `j`, (n,), and its estimates of X, (p,)."""
        place = len(self.elimination.wide_root) + j
        taken = self.elimination.carried(slice(place, place + 1), fitted=True)
        column = len(self.scale) + self.fitted.shape[1] + j
        right = self.columns.rows.taken(self.whole[:, :, column])
        left = self._less(right[:, None], taken)
        return left[:, 0], taken[2][self.elimination.n_wide :, 0]

    def whiten(self, right: FloatArray) -> FloatArray:
        """Return ``A @ right`` with ``A^T A = V^-1`` for a vector (n,) or a matrix (n, j).

        What is left of each point, and below it the pulls of all sources and effects,
        each in its standard deviation.
        """
        whole = right if right.ndim > 1 else right[:, None]
        parts = self._solved(whole, fitted=False)
        left = self._less(whole, parts) * np.sqrt(self.variance)[:, None]
        scales = np.split(np.where(self.scale > 0.0, self.scale, 1.0), self._ends)
        pulls = [
            flattened(part / scale[:, None]) for part, scale in zip(parts, scales, strict=True)
        ]
        white = np.concatenate([left, *pulls])
        return white if right.ndim > 1 else white[:, 0]

    @property
    def _ends(self) -> tuple[int, int]:
        k1, k2, _ = self.columns.slots.widths
        return k1, k1 + k2

    def _solved(self, right: FloatArray, *, fitted: bool) -> Parts:
        scaled = self.inverse_variance[:, None] * right
        return self.elimination.solved(self._pulled(scaled), fitted=fitted)

    def _pulled(self, scaled: FloatArray) -> Parts:
        """Return ``[Z X]^T`` times some columns."""
        run, pack, wide = self.columns.pulled(self.columns.rows.laid(scaled))
        return run, pack, np.concatenate([wide, self.fitted.T @ scaled])

    def _less(self, right: FloatArray, taken: Parts) -> FloatArray:
        """Return ``D^-1 (right - [Z X] taken)``."""
        run, pack, wide = taken
        q, rows = self.elimination.n_wide, self.columns.rows
        left: FloatArray = right - rows.taken(self.columns.pushed((run, pack, wide[:q])))
        left -= self.fitted @ wide[q:]
        left *= self.inverse_variance[:, None]
        return left


def inverse_of(
    columns: Columns,
    scale: FloatArray,
    variance: FloatArray,
    fitted: FloatArray,
    carried: FloatArray,
) -> Inverse | None:
    """Return the inverse of a covariance; None where it is none, or X is not of full rank.

    Parameters
    ----------
    columns : Columns
        Z.
    scale : (k,) array
        Standard deviations of its slots.
    variance : (n,) array
        Independent variances.
    fitted : (n, p) array
        X.
    carried : (n, j) array
        Columns to which the inverse is to be applied.
    """
    return inverse_at(columns, scale, variance, fitted, laid_out(columns, fitted, carried))


def laid_out(columns: Columns, fitted: FloatArray, carried: FloatArray) -> FloatArray:
    """Return Z, X and the carried columns in their tiles, (t, m, k + p + j)."""
    more = columns.rows.laid(np.concatenate([fitted, carried], axis=1))
    return np.concatenate([columns.values, more], axis=2)


def inverse_at(
    columns: Columns,
    scale: FloatArray,
    variance: FloatArray,
    fitted: FloatArray,
    whole: FloatArray,
) -> Inverse | None:
    """Return the same for what `laid_out` gave, which serves at any `scale` and `variance`."""
    length = np.linalg.norm(fitted, axis=0)
    # A parameter that moves nothing, or so far off that the curve overflows.
    if not (np.all(variance > 0.0) and np.all(length > 0.0) and np.isfinite(length).all()):
        return None
    rows, (k1, k2, q) = columns.rows, columns.slots.widths
    inverse_root = rows.laid(1.0 / np.sqrt(variance))
    moments = Moments.none(rows, (k1, k2, whole.shape[2] - k1 - k2))
    for chunk in rows.chunks:
        moments.add(chunk, inverse_root[chunk.tiles, :, None] * whole[chunk.tiles])
    if not moments.finite:
        return None
    try:
        elimination = eliminate(rows, (k1, k2, q), moments, scale, length)
    except np.linalg.LinAlgError:
        return None
    return Inverse(columns, fitted, variance, scale, whole, inverse_root, moments, elimination)
