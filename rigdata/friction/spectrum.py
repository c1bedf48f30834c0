"""Scatter effects as the inverse of a covariance sees them, level by level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.elimination import Elimination, Moments
from rigdata.friction.nesting import Chunk, Rows, Slots


@dataclass(frozen=True, eq=False)
class Effects:
    """The slots of Z that belong to variance components, by how far they reach.

    Attributes
    ----------
    run, pack, wide : slice
        Slots, e1, e2 and e3 of them, counted from the first of their reach.
    counts : (int, int, int)
        e1, e2 and e3.
    member : (e1 + e2 + e3, c) array
        1 where a slot belongs to a component.
    """

    run: slice
    pack: slice
    wide: slice
    counts: tuple[int, int, int]
    member: FloatArray

    @classmethod
    def of(cls, slots: Slots, count: int) -> Effects:
        """Return the effects among some slots, of `count` components."""
        run, pack, wide = slots.effects
        counts = (run.stop - run.start, pack.stop - pack.start, wide.stop - wide.start)
        owner = slots.slot_owner
        return cls(run, pack, wide, counts, np.eye(count)[owner[owner >= 0]])


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Effects seen through an elimination; of unit size, whatever their variance.

    Attributes
    ----------
    run_own : (runs, e1, e1), (runs, e1, e2) and (runs, e1, e3) arrays
        ``F^T V^-1 F`` of a run's effects with its own, those of its pack and the
        wide ones, each once all narrower columns than the latter are eliminated.
    pack_own : (packs, e2, e2) and (packs, e2, e3) arrays
    wide_own : (e3, e3) array
    run_pack, run_wide : (runs, e1, k2) and (runs, e1, q + p) array
        ``F^T U2`` and ``F^T U3`` of the effects of runs.
    pack_wide : (packs, e2, q + p) array
        ``F^T U3`` of the effects of packs.
    gross : (e1 + e2 + e3,) array
        ``tr(D^-1 F F^T)`` of the effects in each slot: what there is to be seen.
    columns : three arrays
        Coefficients of [U1, own effects], [U2, effects] and [U3, effects].
    """

    run_own: tuple[FloatArray, FloatArray, FloatArray]
    pack_own: tuple[FloatArray, FloatArray]
    wide_own: FloatArray
    run_pack: FloatArray
    run_wide: FloatArray
    pack_wide: FloatArray
    gross: FloatArray
    columns: tuple[FloatArray, FloatArray, FloatArray]

    @property
    def widths(self) -> tuple[int, int, int]:
        """How many columns there are of each reach, effects included."""
        run, pack, wide = (part.shape[-1] for part in self.columns)
        return run - pack, pack - wide, wide

    def gram_of_runs(self, slot: int, pack_of: IntArray) -> FloatArray:
        """Return ``F^T P F`` of the effects of runs in one slot, (runs, runs).

        Parameters
        ----------
        slot : int
            Among the e1.
        pack_of : (runs,) int
        """
        near, far = self.run_pack[:, slot], self.run_wide[:, slot]
        gram: FloatArray = np.diag(self.run_own[0][:, slot, slot]) - far @ far.T
        gram -= np.where(pack_of[:, None] == pack_of, near @ near.T, 0.0)
        return gram

    def lever(self, seen_columns: FloatArray) -> FloatArray:
        """Return the sum of squares of the U among what `seen` gives, (tiles, m)."""
        run, pack, wide = self.columns
        starts = np.cumsum([0, *self.widths])
        total = np.zeros(seen_columns.shape[:-1])
        for start, part in zip(starts, (run, pack, wide), strict=False):
            own = seen_columns[..., start : start + part.shape[-2]]
            total += np.einsum("tmk,tmk->tm", own, own)
        return total


def spectrum(effects: Effects, known: Moments, done: Elimination) -> Spectrum:
    """Return the effects as an elimination sees them.

    Parameters
    ----------
    effects : Effects
    known : Moments
        That the elimination started from.
    done : Elimination
    """
    f1, f2, f3, pack_of = effects.run, effects.pack, effects.wide, done.rows.pack_of
    k1, k2, size = done.run_root.shape[1], done.pack_root.shape[1], len(done.wide_root)
    run_over = done.run_root.swapaxes(1, 2) @ known.run[:, :, f1]
    pack_over = done.pack_root.swapaxes(1, 2) @ done.pack_left[:, :, f2]
    wide_over = done.wide_root.T @ done.wide_left[:size, f3]
    across = known.run[:, f1, k1:] - run_over.swapaxes(1, 2) @ done.run_over
    run_pack = across[:, :, :k2] @ done.pack_root[pack_of]
    beyond = across[:, :, k2:] - run_pack @ done.pack_over[pack_of]
    run_wide = beyond[:, :, :size] @ done.wide_root
    above = done.pack_left[:, f2, k2:] - pack_over.swapaxes(1, 2) @ done.pack_over
    pack_wide = above[:, :, :size] @ done.wide_root

    def left(inner: FloatArray, over: FloatArray) -> FloatArray:
        return inner - over.swapaxes(-1, -2) @ over

    return Spectrum(
        run_own=(
            left(known.run[:, f1, f1], run_over),
            across[:, :, f2] - run_pack @ pack_over[pack_of],
            beyond[:, :, f3] - run_wide @ wide_over,
        ),
        pack_own=(
            left(done.pack_left[:, f2, f2], pack_over),
            above[:, :, f3] - pack_wide @ wide_over,
        ),
        wide_own=left(done.wide_left[f3, f3], wide_over),
        run_pack=run_pack,
        run_wide=run_wide,
        pack_wide=pack_wide,
        gross=np.concatenate(
            [
                np.einsum("raa->a", known.run[:, f1, f1]),
                np.einsum("paa->a", known.pack[:, f2, f2]),
                np.diagonal(known.wide[f3, f3]),
            ]
        ),
        columns=_columns(
            done,
            _own(done.run_root, f1, run_over),
            _own(done.pack_root, f2, pack_over),
            _own(done.wide_root, f3, wide_over),
        ),
    )


def _own(root: FloatArray, effects: slice, over: FloatArray) -> FloatArray:
    """Return coefficients of [U, V^-1 F] on the columns of their own reach."""
    size, count = root.shape[-1], over.shape[-1]
    both = np.empty((*root.shape[:-1], size + count))
    both[..., :size] = root
    both[..., size:] = -(root @ over)
    places = np.arange(count)
    both[..., effects.start + places, size + places] += 1.0
    return both


def _columns(
    done: Elimination, run: FloatArray, pack: FloatArray, wide: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    k1, k2, size = done.run_root.shape[1], done.pack_root.shape[1], len(wide)
    w2, w3 = pack.shape[2], wide.shape[1]
    none = np.zeros((1, k1, max(w2, w3)))
    from_pack, pack, _ = done.back((none[..., :w2], pack, np.zeros((size, w2))))
    from_wide, over, _ = done.back((none[..., :w3], np.zeros((1, k2, w3)), wide))
    return (
        np.concatenate([run, from_pack, from_wide], axis=2),
        np.concatenate([pack, over], axis=2),
        wide,
    )


def seen(rows: Rows, found: Spectrum, chunk: Chunk, columns: FloatArray) -> FloatArray:
    """Return the rows of ``D^(1/2)`` times [U1, F1, U2, F2, U3, F3] in the tiles of a chunk.

    Parameters
    ----------
    rows : Rows
    found : Spectrum
    chunk : Chunk
    columns : (tiles, m, k) array
        Z and X divided by the roots of D.
    """
    run, pack, wide = found.columns
    k1, k2 = run.shape[1], pack.shape[1]
    product: FloatArray = columns[..., :k1] @ run[rows.run_of[chunk.tiles]]
    w1 = run.shape[2] - pack.shape[2]
    pack_of = rows.pack_of_tile[chunk.tiles]
    product[..., w1:] += columns[..., k1 : k1 + k2] @ pack[pack_of]
    product[..., run.shape[2] - wide.shape[1] :] += columns[..., k1 + k2 :] @ wide
    return product
