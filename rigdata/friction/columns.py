"""What sources and scatter effects do to every point: a matrix kept in the slots of its layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.nesting import SOURCE, Rows, Slots, flattened, rows_of, slots_of, span, summed

_ROWS_AT_ONCE = 16384

Parts = tuple[FloatArray, FloatArray, FloatArray]  # (runs, k1, .), (packs, k2, .), (k3, .)


@dataclass(frozen=True, eq=False)
class Columns:
    """An (n, C) matrix Z of which most columns touch one run or one pack.

    Attributes
    ----------
    slots : Slots
        Layout of its rows and columns.
    values : (t, m, k) array
        Its numbers, by tile, row and slot; empty rows and slots are 0.
    """

    slots: Slots
    values: FloatArray

    @property
    def rows(self) -> Rows:
        """Layout of its n rows."""
        return self.slots.rows

    def pull(self, right: FloatArray) -> FloatArray:
        """Return ``Z^T @ right`` for (n, j) columns, (C, j)."""
        flat = np.concatenate([flattened(part) for part in self.pulled(self.rows.laid(right))])
        found: FloatArray = flat[self.slots.flat_place]
        return found

    def push(self, coefficients: FloatArray) -> FloatArray:
        """Return ``Z @ coefficients`` for (C, j) columns, (n, j)."""
        (k1, k2, k3), j = self.slots.widths, coefficients.shape[1]
        runs, packs = self.rows.n_runs, self.rows.n_packs
        flat = np.zeros((runs * k1 + packs * k2 + k3, j))
        flat[self.slots.flat_place] = coefficients
        ends = runs * k1, runs * k1 + packs * k2
        run = flat[: ends[0]].reshape(runs, k1, j)
        pack = flat[ends[0] : ends[1]].reshape(packs, k2, j)
        return self.rows.taken(self.pushed((run, pack, flat[ends[1] :])))

    def dense(self, scale: FloatArray) -> FloatArray:
        """Return ``Z`` as an (n, C) array, each column times the `scale` (k,) of its slot."""
        return self.push(np.diag(scale[self.slots.slot]))

    def pulled(self, tiles: FloatArray) -> Parts:
        """Return ``Z^T`` times (t, m, j) columns, by run, pack and altogether."""
        chunk, (k1, k2, _) = self.rows.all_tiles, self.slots.widths
        each = self.values.swapaxes(1, 2) @ tiles
        return (
            summed(each[:, :k1], chunk.run_starts),
            summed(each[:, k1 : k1 + k2], chunk.pack_starts),
            each[:, k1 + k2 :].sum(axis=0),
        )

    def pushed(self, parts: Parts) -> FloatArray:
        """Return Z times what `pulled` gives, (t, m, j)."""
        run, pack, wide = parts
        k12 = run.shape[1] + pack.shape[1]
        each = np.empty((self.rows.n_tiles, k12 + len(wide), wide.shape[1]))
        each[:, : run.shape[1]] = run[self.rows.run_of]
        each[:, run.shape[1] : k12] = pack[self.rows.pack_of_tile]
        each[:, k12:] = wide
        product: FloatArray = self.values @ each
        return product


def columns_of(
    matrix: sparse.csr_array, owner: Sequence[int], pack: IntArray, run: IntArray
) -> Columns:
    """Return the columns of a sparse matrix.

    Parameters
    ----------
    matrix : (n, C) sparse array
    owner : sequence of C int
        Component that each column belongs to, or `SOURCE`.
    pack, run : (n,) int
        Numbers of each row's pack and run.
    """
    rows, own = rows_of(pack, run), np.asarray(owner, dtype=np.int64)
    slots = slots_of(rows, own, np.zeros_like(own), *span([matrix], rows))
    values = np.zeros((rows.n_tiles, rows.height, sum(slots.widths)))
    spread(values, matrix, slots.slot, rows)
    return Columns(slots, values)


def dense_columns(shared: FloatArray, *effects: FloatArray) -> Columns:
    """Return the columns of a small model, whatever they reach.

    Parameters
    ----------
    shared : (n, m) array
        Contributions of known sources.
    *effects : (n, q) arrays
        Effects of the first, the second ... component.
    """
    matrix = np.concatenate([shared, *effects], axis=1)
    owner = [SOURCE] * shared.shape[1]
    for i, own in enumerate(effects):
        owner += [i] * own.shape[1]
    together = np.zeros(len(matrix), dtype=np.int64)
    return columns_of(sparse.csr_array(matrix), owner, together, together)


def spread(values: FloatArray, matrix: sparse.csr_array, slot: IntArray, rows: Rows) -> None:
    """Add a sparse (n, C) matrix to `values` (t, m, k), its columns in their slots.

    Columns of slot -1 are left out.
    """
    count = values.shape[2]
    whole = values.reshape(-1, count) if count else values.reshape(rows.n_tiles * rows.height, 0)
    place = np.where(slot < 0, count, slot).astype(matrix.indices.dtype)
    moved = sparse.csr_array(
        (matrix.data, place[matrix.indices], matrix.indptr), shape=(len(rows), count + 1)
    )
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        part = slice(start, start + _ROWS_AT_ONCE)
        whole[rows.place[part]] += moved[part].toarray()[:, :count]
