"""The inverse of a covariance with nested columns: run by run, then pack by pack, then the rest.

With ``V = D + Z S Z^T``, D diagonal and S the variances of the columns, and X the
columns of what is fitted, the small matrix of second moments ``[Z X]^T D^-1 [Z X]``
is brought to triangular form level by level, as C. R. Henderson's mixed model
equations are (Biometrics 31 (1975) 423).  That gives ``V^-1 = D^-1 - U U^T`` with
columns U that reach no further than those of Z do, and with X counted in
``P = V^-1 - V^-1 X (X^T V^-1 X)^-1 X^T V^-1`` in the same form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.columns import Parts
from rigdata.friction.nesting import Chunk, Rows, flattened, summed


@dataclass(frozen=True, eq=False)
class Moments:
    """Sums of second moments of columns ``[run | pack | wide]`` with k1, k2 and k3 slots.

    Attributes
    ----------
    run : (runs, k1, k1 + k2 + k3) array
        Of the columns of each run with all that its rows have.
    pack : (packs, k2, k2 + k3) array
        Of the columns of each pack with its own and the wide ones.
    wide : (k3, k3) array
    """

    run: FloatArray
    pack: FloatArray
    wide: FloatArray

    @classmethod
    def none(cls, rows: Rows, widths: tuple[int, int, int]) -> Moments:
        """Return sums over nothing yet."""
        k1, k2, k3 = widths
        return cls(
            np.zeros((rows.n_runs, k1, k1 + k2 + k3)),
            np.zeros((rows.n_packs, k2, k2 + k3)),
            np.zeros((k3, k3)),
        )

    @property
    def finite(self) -> bool:
        """Whether all of them are numbers."""
        return all(np.isfinite(part).all() for part in (self.run, self.pack, self.wide))

    def add(self, chunk: Chunk, columns: FloatArray) -> None:
        """Add what the (tiles, m, k1 + k2 + k3) columns of a chunk hold."""
        k1, k12 = self.run.shape[1], self.run.shape[1] + self.pack.shape[1]
        narrow = columns[..., :k12].swapaxes(1, 2) @ columns
        self.run[chunk.runs] += summed(narrow[:, :k1], chunk.run_starts)
        self.pack[chunk.packs] += summed(narrow[:, k1:, k1:], chunk.pack_starts)
        flat = flattened(columns)[:, k12:]
        self.wide[...] += flat.T @ flat


@dataclass(frozen=True, eq=False)
class Elimination:
    """A covariance brought to triangular form.

    Attributes
    ----------
    rows : Rows
    n_wide : int
        Wide columns of Z, q; behind them stand the p columns of X, and then any
        others that were carried along.
    run_root : (runs, k1, k1) array
        ``S^(1/2) L^-T`` of each run, L being the Cholesky factor there.
    run_over : (runs, k1, k2 + k3) array
        ``run_root^T`` times the moments with the columns of packs and the wide ones.
    pack_left : (packs, k2, k2 + k3) array
        Moments of the columns of packs once the runs are eliminated.
    pack_root, pack_over : (packs, k2, k2) and (packs, k2, k3) array
        As for runs.
    wide_left : (k3, k3) array
        Moments of the wide columns once runs and packs are eliminated.
    wide_root : (q + p, q + p) array
    scale : three arrays
        ``S^(1/2)`` of the slots of runs and of packs and of the wide ones, behind
        which stand the inverse lengths of the columns of X.
    log_pivots : (runs, k1), (packs, k2) and (q + p,) array
        Twice the logarithms of the diagonals of the Cholesky factors.
    """

    rows: Rows
    n_wide: int
    run_root: FloatArray
    run_over: FloatArray
    pack_left: FloatArray
    pack_root: FloatArray
    pack_over: FloatArray
    wide_left: FloatArray
    wide_root: FloatArray
    scale: Parts
    log_pivots: Parts

    @property
    def log_determinants(self) -> tuple[float, float]:
        """Of ``I + S^(1/2) Z^T D^-1 Z S^(1/2)`` and of ``X^T V^-1 X``."""
        run, pack, wide = self.log_pivots
        q = self.n_wide
        random = np.sum(run) + np.sum(pack) + np.sum(wide[:q])
        return float(random), float(np.sum(wide[q:] - 2.0 * np.log(self.scale[2][q:])))

    def back(self, own: Parts) -> Parts:
        """Return coefficients of Z (and X) with what they do to narrower columns taken out.

        Parameters
        ----------
        own : Parts
            What is wanted at each level.
        """
        run, pack, wide = own
        width, size = self.pack_root.shape[1], len(wide)
        pack = pack - self.pack_root @ (self.pack_over[:, :, :size] @ wide)
        over = self.run_over[:, :, :width] @ pack[self.rows.pack_of]
        over += self.run_over[:, :, width : width + size] @ wide
        return run - self.run_root @ over, pack, wide

    def seen(self, right: Parts) -> Parts:
        """Return ``U^T D`` times what ``[Z X]^T`` has given in `right`, level by level."""
        run, pack, wide = right
        width, size = self.pack_root.shape[1], len(self.wide_root)
        run = self.run_root.swapaxes(1, 2) @ run
        pushed = self.run_over.swapaxes(1, 2)[:, : width + size] @ run
        pack = self.pack_root.swapaxes(1, 2) @ (pack - self.rows.by_pack(pushed[:, :width]))
        wide = wide - pushed[:, width:].sum(axis=0)
        wide -= (self.pack_over.swapaxes(1, 2)[:, :size] @ pack).sum(axis=0)
        return run, pack, self.wide_root.T @ wide

    def solved(self, right: Parts, *, fitted: bool) -> Parts:
        """Return the coefficients that stand for ``Z`` (and X) in ``V^-1 right`` (or ``P right``).

        Parameters
        ----------
        right : Parts
            ``[Z X]^T D^-1`` times (n, j) columns.
        fitted : bool
            Whether X is counted in; otherwise its rows of the answer are 0.
        """
        run, pack, wide = self.seen(right)
        own = self._fitted(wide, fitted=fitted)
        return self.back((self.run_root @ run, self.pack_root @ pack, own))

    def carried(self, columns: slice, *, fitted: bool) -> Parts:
        """Return the same for columns among the k3 that were carried through the elimination."""
        width, size = self.pack_root.shape[1], len(self.wide_root)
        start, stop, _ = columns.indices(len(self.wide_left))
        wide = self.wide_root.T @ self.wide_left[:size, start:stop]
        own = (
            self.run_root @ self.run_over[:, :, width + start : width + stop],
            self.pack_root @ self.pack_over[:, :, start:stop],
            self._fitted(wide, fitted=fitted),
        )
        return self.back(own)

    def _fitted(self, wide: FloatArray, *, fitted: bool) -> FloatArray:
        """Return the coefficients of the wide columns, with X or as if it were not there."""
        if fitted:
            return self.wide_root @ wide
        alone = np.zeros_like(wide)
        q = self.n_wide
        alone[:q] = self.wide_root[:q, :q] @ wide[:q]
        return alone


def eliminate(
    rows: Rows,
    widths: tuple[int, int, int],
    known: Moments,
    scale: FloatArray,
    length: FloatArray,
) -> Elimination:
    """Bring a covariance to triangular form.

    Parameters
    ----------
    rows : Rows
    widths : (int, int, int)
        Slots of Z for runs, for packs and wide ones, k in all.
    known : Moments
        Of Z, X and any more wide columns, divided by the roots of D.
    scale : (k,) array
        Standard deviation of the columns in each slot.
    length : (p,) array
        Lengths of the columns of X, so that their units do not matter.

    Raises
    ------
    numpy.linalg.LinAlgError
        When the covariance is not positive, or X not of full rank.
    """
    k1, k2, q = widths
    in_run, in_pack = scale[:k1], scale[k1 : k1 + k2]
    in_wide = np.concatenate([scale[k1 + k2 :], 1.0 / length])
    run_root, run_log = root_of(in_run, known.run[:, :, :k1], k1)
    run_over = run_root.swapaxes(1, 2) @ known.run[:, :, k1:]
    taken = rows.by_pack(run_over[:, :, :k2].swapaxes(1, 2) @ run_over)
    pack_left = known.pack - taken
    pack_root, pack_log = root_of(in_pack, pack_left[:, :, :k2], k2)
    pack_over = pack_root.swapaxes(1, 2) @ pack_left[:, :, k2:]
    wide_left = known.wide - _square(run_over[:, :, k2:]) - _square(pack_over)
    size = in_wide.size
    wide_root, wide_log = root_of(in_wide, wide_left[:size, :size], q)
    return Elimination(
        rows=rows,
        n_wide=q,
        run_root=run_root,
        run_over=run_over,
        pack_left=pack_left,
        pack_root=pack_root,
        pack_over=pack_over,
        wide_left=wide_left,
        wide_root=wide_root,
        scale=(in_run, in_pack, in_wide),
        log_pivots=(run_log, pack_log, wide_log),
    )


def root_of(scale: FloatArray, inner: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Return ``S^(1/2) L^-T`` and twice the logarithms of the diagonal of L.

    L is the Cholesky factor of ``J + S^(1/2) inner S^(1/2)``, J being 1 on the first
    `count` places of its diagonal, those of columns whose variance is known.
    """
    scaled = scale[:, None] * inner * scale
    scaled[..., np.arange(count), np.arange(count)] += 1.0
    lower = np.linalg.cholesky(scaled)
    pivots = np.diagonal(lower, axis1=-2, axis2=-1)
    return scale[:, None] * np.linalg.inv(lower).swapaxes(-1, -2), 2.0 * np.log(pivots)


def _square(over: FloatArray) -> FloatArray:
    """Return the second moments of the last axis over all others."""
    flat = flattened(over)
    product: FloatArray = flat.T @ flat
    return product
