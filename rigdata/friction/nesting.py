"""Where points and columns stand: points in runs, runs in packs, columns as far as they reach.

A column (what one source or one scatter effect does to all points) mostly touches
one run or one pack.  The rows are therefore laid out run by run and pack by pack,
and the columns of one run share their places with those of every other: a matrix
of thousands of columns becomes one of a few dozen slots, without loss.

Rows stand in tiles of equal height, each within one run and filled up with empty
rows, so that products over all runs are single calls on stacks of matrices.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray

RUN, PACK, WIDE = 0, 1, 2  # how far a column reaches
SOURCE = -1  # owner of a column that is a known source

_TILE_COST = 8  # rows that one more tile costs as much time as
_MOST_ROWS = 512  # of a tile
_CHUNK_ROWS = 8192  # worked on together, so that they stay in fast memory


@dataclass(frozen=True, eq=False)
class Chunk:
    """Neighbouring tiles, and where their runs and packs start among them."""

    tiles: slice
    runs: IntArray
    run_starts: IntArray
    packs: IntArray
    pack_starts: IntArray


@dataclass(frozen=True, eq=False)
class Rows:
    """Where the n rows of a problem stand among t tiles of m rows.

    Attributes
    ----------
    place : (n,) int
        Row among all ``t * m``.
    height : int
        Rows of a tile, m.
    run_of : (t,) int
        Run of each tile, ascending.
    pack_of : (r,) int
        Pack of each run, ascending.
    """

    place: IntArray
    height: int
    run_of: IntArray
    pack_of: IntArray

    def __len__(self) -> int:
        return int(self.place.size)

    @property
    def n_tiles(self) -> int:
        """How many tiles there are."""
        return int(self.run_of.size)

    @property
    def n_runs(self) -> int:
        """How many runs there are; one in two packs counts as two."""
        return int(self.pack_of.size)

    @cached_property
    def n_packs(self) -> int:
        """How many packs there are."""
        return int(self.pack_of[-1]) + 1

    @cached_property
    def pack_of_tile(self) -> IntArray:
        """(t,) pack of each tile."""
        pack: IntArray = self.pack_of[self.run_of]
        return pack

    @cached_property
    def run_of_row(self) -> IntArray:
        """(n,) run of each row."""
        run: IntArray = self.run_of[self.place // self.height]
        return run

    @cached_property
    def all_tiles(self) -> Chunk:
        """All tiles as one chunk."""
        return self._chunk(0, self.n_tiles)

    @cached_property
    def chunks(self) -> tuple[Chunk, ...]:
        """The tiles in parts of a size that is good to work on."""
        step = max(1, _CHUNK_ROWS // self.height)
        return tuple(
            self._chunk(start, min(start + step, self.n_tiles))
            for start in range(0, self.n_tiles, step)
        )

    @cached_property
    def _pack_starts(self) -> IntArray:
        return starts_of(self.pack_of)

    def _chunk(self, start: int, stop: int) -> Chunk:
        runs, packs = self.run_of[start:stop], self.pack_of_tile[start:stop]
        in_run, in_pack = starts_of(runs), starts_of(packs)
        return Chunk(slice(start, stop), runs[in_run], in_run, packs[in_pack], in_pack)

    @cached_property
    def _filled_from(self) -> tuple[IntArray, IntArray]:
        """(t * m,) row that stands in each place, any one where none does, and those places."""
        row = np.full(self.n_tiles * self.height, -1)
        row[self.place] = np.arange(self.place.size)
        empty = np.flatnonzero(row < 0)
        row[empty] = 0
        return row, empty

    def laid(self, columns: FloatArray) -> FloatArray:
        """Return (n, ...) rows in their tiles, (t, m, ...), empty rows at 0."""
        row, empty = self._filled_from
        tiles = np.take(columns, row, axis=0)  # several times as quick as the same by index
        tiles[empty] = 0.0
        return tiles.reshape(self.n_tiles, self.height, *columns.shape[1:])

    def taken(self, tiles: FloatArray) -> FloatArray:
        """Return the n rows of (t, m, ...) tiles, (n, ...)."""
        t, m, *inner = tiles.shape
        rows: FloatArray = np.take(tiles.reshape(t * m, *inner), self.place, axis=0)
        return rows

    def by_pack(self, runs: FloatArray) -> FloatArray:
        """Return the sums over the runs of each pack, from (r, ...) to (packs, ...)."""
        return summed(runs, self._pack_starts)


def numbered(names: TextArray) -> tuple[IntArray, int]:
    """Return the number (n,) of each name among the different ones, and how many these are.

    Names mostly stand in stretches, of which only the first is looked up.
    """
    starts = starts_of(names)
    number, different = pd.factorize(names[starts], sort=True)
    lengths = np.diff(np.append(starts, names.size))
    return np.repeat(number.astype(np.int64), lengths), len(different)


def members_of(names: TextArray) -> list[IntArray]:
    """Return where each of the different names stands, in the order of the names."""
    number, count = numbered(names)
    order, sizes = np.argsort(number, kind="stable"), np.bincount(number, minlength=count)
    return np.split(order, np.cumsum(sizes)[:-1])


def rows_of(pack: IntArray, run: IntArray) -> Rows:
    """Return the layout of points by the numbers (n,) of their packs and runs, in any order."""
    order = np.lexsort((run, pack))
    in_order = pack[order], run[order]
    new_pack, new = (np.concatenate([[True], c[1:] != c[:-1]]) for c in in_order)
    new |= new_pack
    starts = np.flatnonzero(new)
    sizes = np.diff(np.append(starts, order.size))
    height = _tile_height(sizes)
    tiles = -(-sizes // height)
    first = np.cumsum(tiles) - tiles
    own = np.cumsum(new) - 1
    place = np.empty(order.size, dtype=np.int64)
    place[order] = first[own] * height + np.arange(order.size) - starts[own]
    pack_of = np.cumsum(new_pack[starts]) - 1
    return Rows(place, height, np.repeat(np.arange(sizes.size), tiles), pack_of)


def _tile_height(sizes: IntArray) -> int:
    """Return the height of tiles that costs least for runs of these sizes."""
    tried = np.unique(np.minimum(np.append(sizes, np.max(sizes) // 2 + 1), _MOST_ROWS))
    cost = [np.sum(-(-sizes // m)) * (m + _TILE_COST) for m in tried.tolist()]
    return int(tried[int(np.argmin(cost))])


@dataclass(frozen=True, eq=False)
class Slots:
    """Where C columns stand among k slots: those of runs first, then of packs, then the wide.

    Attributes
    ----------
    rows : Rows
    owner : (C,) int
        Number of the variance component that a column belongs to, or `SOURCE`.
    reach : (C,) int
        `RUN`, `PACK` or `WIDE`.
    home : (C,) int
        Run or pack of each column; 0 for wide ones.
    slot : (C,) int
        Slot among all k.
    widths : (int, int, int)
        Slots of each reach.
    """

    rows: Rows
    owner: IntArray
    reach: IntArray
    home: IntArray
    slot: IntArray
    widths: tuple[int, int, int]

    def __len__(self) -> int:
        return int(self.slot.size)

    @cached_property
    def slot_owner(self) -> IntArray:
        """(k,) owner of the columns in each slot."""
        owner = np.full(sum(self.widths), SOURCE)
        owner[self.slot] = self.owner
        return owner

    @cached_property
    def effects(self) -> tuple[slice, slice, slice]:
        """Slots of variance components, counted from the first of their reach."""
        found, start = [], 0
        for width in self.widths:
            own = np.flatnonzero(self.slot_owner[start : start + width] >= 0)
            first = int(own[0]) if own.size else 0
            found.append(slice(first, first + own.size))
            start += width
        return found[0], found[1], found[2]

    @cached_property
    def flat_place(self) -> IntArray:
        """(C,) place of each column among the slots of all runs, all packs and the wide ones."""
        width = np.array(self.widths)
        first_slot = np.cumsum(width) - width
        counts = np.array([self.rows.n_runs, self.rows.n_packs, 1]) * width
        first = np.cumsum(counts) - counts
        own = self.slot - first_slot[self.reach]
        place: IntArray = first[self.reach] + self.home * width[self.reach] + own
        return place


def slots_of(rows: Rows, owner: IntArray, kind: IntArray, first: IntArray, last: IntArray) -> Slots:
    """Return slots for columns by their first and last row.

    Parameters
    ----------
    rows : Rows
    owner : (C,) int
        As in `Slots`.
    kind : (C,) int
        Columns of different owners or kinds never share a slot, and within a reach
        slots stand in the order of kinds, then owners.  All components are of one kind.
    first, last : (C,) int
        Places of the first and last row touched, as `span` gives them; the first
        after the last for a column that touches none.
    """
    empty = first > last
    ends = [np.where(empty, 0, end) // rows.height for end in (first, last)]
    runs = [rows.run_of[tile] for tile in ends]
    packs = [rows.pack_of[run] for run in runs]
    reach = np.where(runs[0] == runs[1], RUN, np.where(packs[0] == packs[1], PACK, WIDE))
    home = np.choose(reach, [runs[0], packs[0], np.zeros_like(runs[0])])
    # Columns of one reach, kind, owner and home stand side by side, those of other homes behind.
    group = np.stack([reach, kind, owner, home])
    order = np.lexsort(group[::-1])
    group = group[:, order]
    fresh = np.ones(order.size, dtype=bool)
    fresh[1:] = np.any(group[:, 1:] != group[:, :-1], axis=0)
    starts, own = np.flatnonzero(fresh), np.cumsum(fresh) - 1
    keys, of_group = np.unique(group[:3, starts], axis=1, return_inverse=True)
    width = np.zeros(keys.shape[1], dtype=np.int64)
    np.maximum.at(width, of_group, np.diff(np.append(starts, order.size)))
    slot = np.empty(order.size, dtype=np.int64)
    slot[order] = (np.cumsum(width) - width)[of_group[own]] + np.arange(order.size) - starts[own]
    k1, k2, k3 = (int(np.sum(width[keys[0] == level])) for level in (RUN, PACK, WIDE))
    return Slots(rows, owner, reach, home, slot, (k1, k2, k3))


def span(matrices: Sequence[sparse.csr_array], rows: Rows) -> tuple[IntArray, IntArray]:
    """Return the places of the first and last row that each column touches in any of `matrices`.

    Returns
    -------
    (C,) int, (C,) int
        The first after the last for a column of zeros.
    """
    count = matrices[0].shape[1]
    first = np.full(count, np.iinfo(np.int64).max)
    last = np.full(count, -1, dtype=np.int64)
    for matrix in matrices:
        if not matrix.nnz:
            continue
        columns = sparse.csc_array(matrix, copy=True)
        columns.eliminate_zeros()
        filled = np.flatnonzero(np.diff(columns.indptr))
        if filled.size:
            places, starts = rows.place[columns.indices], columns.indptr[filled]
            first[filled] = np.minimum(first[filled], np.minimum.reduceat(places, starts))
            last[filled] = np.maximum(last[filled], np.maximum.reduceat(places, starts))
    return first, last


def summed(values: FloatArray, starts: IntArray) -> FloatArray:
    """Return sums of neighbouring entries along the first axis, each from one start to the next."""
    if starts.size == len(values):
        return values
    total: FloatArray = np.add.reduceat(values, starts, axis=0)
    return total


def flattened(stack: FloatArray) -> FloatArray:
    """Return a stack of matrices (..., k) as one matrix below the other."""
    return stack.reshape(math.prod(stack.shape[:-1]), stack.shape[-1])


def starts_of(values: IntArray | TextArray) -> IntArray:
    """Return where a value differs from the one before it."""
    fresh: BoolArray = np.ones(values.size, dtype=bool)
    fresh[1:] = values[1:] != values[:-1]
    return np.flatnonzero(fresh)
