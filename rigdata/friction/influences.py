"""How every source moves what is fitted, about any curve, without a dense column for each.

Contributions of a source are additive, or proportional to the curve, and a source
that moves a point's stated condition counts with ``dmu - (df/dx) dx``.  Sources of
a single point belong to its own variance; all others, and the scatter effects, are
columns of a mixed model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.friction.columns import Columns, spread
from rigdata.friction.nesting import SOURCE, Rows, Slots, slots_of, span

_PROPORTIONAL = 8  # bit of a column's kind; those below tell which conditions it moves


@dataclass(frozen=True, eq=False)
class Singles:
    """The e sources that touch one point each.

    Attributes
    ----------
    row : (e,) int
        Point of each.
    value : (e,) array
        What it adds to mu, relative where it is proportional.
    proportional : (e,) bool
    shifts : (s, e) array
        What it adds to the conditions.
    """

    row: IntArray
    value: FloatArray
    proportional: BoolArray
    shifts: FloatArray

    def variance(self, curve: FloatArray, slopes: FloatArray) -> FloatArray:
        """Return what they add to the variance of every point, (n,)."""
        effect = self.value * np.where(self.proportional, curve[self.row], 1.0)
        effect -= np.sum(slopes[:, self.row] * self.shifts, axis=0)
        total = np.zeros(curve.size)
        np.add.at(total, self.row, effect**2)
        return total


@dataclass(frozen=True, eq=False)
class Influences:
    """The m sources of n points, and the effects of their packs and runs.

    Attributes
    ----------
    mu : (n,) array
        That the contributions were stated about.
    contributions : (n, m) sparse array
        Signed change of mu for one standard deviation of each source.
    proportional : (m,) bool
        Whether it scales with mu.
    shifts : tuple of three (n, m) sparse arrays
        Signed change of ln v, T and ln p.
    many : (m,) bool
        Whether each source touches two points or more.
    base : Columns
        Those that do, then the effects: on a curve of 1, with no shifts.
    curved : tuple of slice
        Slots of `base` that scale with the curve.
    moved : tuple of three (slots, (t, m, s) values)
        Slots of `base` whose columns move each condition, and how far.
    singles : Singles
        Sources of a single point.
    """

    mu: FloatArray
    contributions: sparse.csr_array
    proportional: BoolArray
    shifts: tuple[sparse.csr_array, ...]
    many: BoolArray
    base: Columns
    curved: tuple[slice, ...]
    moved: tuple[tuple[IntArray, FloatArray], ...]
    singles: Singles

    @cached_property
    def has_shifts(self) -> bool:
        """Whether any source moves a condition."""
        return any(shift.nnz for shift in self.shifts)

    def columns(self, curve: FloatArray, slopes: FloatArray) -> Columns:
        """Return the columns about a `curve` (n,) with `slopes` (3, n) by the conditions."""
        rows, values = self.base.rows, self.base.values.copy()
        tiles = rows.laid(curve)[:, :, None]
        for slots in self.curved:
            values[:, :, slots] *= tiles
        for (places, own), slope in zip(self.moved, slopes, strict=True):
            if places.size:
                values[:, :, places] -= rows.laid(slope)[:, :, None] * own
        return replace(self.base, values=values)

    def matrix(self, curve: FloatArray) -> sparse.csr_array:
        """Return how each source moves mu about a `curve` (n,), as a sparse (n, m) array."""
        matrix = self.contributions
        row = np.repeat(np.arange(curve.size), np.diff(matrix.indptr))
        scale = np.where(self.proportional[matrix.indices], (curve / self.mu)[row], 1.0)
        return sparse.csr_array((matrix.data * scale, matrix.indices, matrix.indptr), matrix.shape)

    def shift_matrix(self, slopes: FloatArray) -> sparse.csr_array:
        """Return how each source moves the curve at its conditions, as a sparse (n, m) array."""
        total = sparse.csr_array(self.contributions.shape)
        for shift, slope in zip(self.shifts, slopes, strict=True):
            total = total + sparse.diags_array(slope) @ shift
        return sparse.csr_array(total)


def influences_of(
    rows: Rows,
    mu: FloatArray,
    contributions: sparse.csr_array,
    proportional: BoolArray,
    shifts: Sequence[sparse.csr_array],
    effects: Sequence[sparse.csr_array],
) -> Influences:
    """Return the influences of sources and effects in the layout of `rows`.

    Parameters
    ----------
    rows : Rows
    mu, contributions, proportional, shifts
        As in `Influences`.
    effects : sequence of (n, .) sparse arrays
        The columns of one component each.
    """
    first, last = span([contributions, *shifts], rows)
    many = first < last
    shared = np.flatnonzero(many)
    kind = _PROPORTIONAL * proportional.astype(np.int64)
    for axis, shift in enumerate(shifts):
        kind |= (np.bincount(shift.indices, shift.data != 0.0, many.size) > 0) << axis
    ends = [(first[shared], last[shared]), *(span([effect], rows) for effect in effects)]
    counts = [effect.shape[1] for effect in effects]
    slots = slots_of(
        rows,
        np.concatenate([np.full(shared.size, SOURCE), np.repeat(np.arange(len(effects)), counts)]),
        np.concatenate([kind[shared], np.full(sum(counts), _PROPORTIONAL)]),
        *(np.concatenate(part) for part in zip(*ends, strict=True)),
    )
    slot = np.full(many.size, -1)
    slot[shared] = slots.slot[: shared.size]
    slot_kind = np.full(sum(slots.widths), _PROPORTIONAL)
    slot_kind[slot[shared]] = kind[shared]
    base = np.zeros((rows.n_tiles, rows.height, slot_kind.size))
    spread(base, contributions, slot, rows)
    curved = _curved(slot_kind, slots)
    level = rows.laid(1.0 / mu)[:, :, None]
    for part in curved:
        base[:, :, part] *= level
    start = shared.size
    for effect, count in zip(effects, counts, strict=True):
        spread(base, effect, slots.slot[start : start + count], rows)
        start += count
    return Influences(
        mu=mu,
        contributions=contributions,
        proportional=proportional,
        shifts=tuple(shifts),
        many=many,
        base=Columns(slots, base),
        curved=curved,
        moved=tuple(
            _moved(shift, slot, np.flatnonzero(slot_kind & (1 << axis)), rows)
            for axis, shift in enumerate(shifts)
        ),
        singles=_singles(mu, contributions, proportional, shifts, np.flatnonzero(first == last)),
    )


def _curved(slot_kind: IntArray, slots: Slots) -> tuple[slice, ...]:
    """Return the slots that scale with the curve: the last ones of each reach."""
    found, start = [], 0
    for width in slots.widths:
        count = int(np.sum(slot_kind[start : start + width] >= _PROPORTIONAL))
        start += width
        if count:
            found.append(slice(start - count, start))
    return tuple(found)


def _moved(
    shift: sparse.csr_array, slot: IntArray, places: IntArray, rows: Rows
) -> tuple[IntArray, FloatArray]:
    values = np.zeros((rows.n_tiles, rows.height, places.size))
    if places.size:
        among = np.full(slot.max() + 2, -1)
        among[places] = np.arange(places.size)
        spread(values, shift, among[slot], rows)
    return places, values


def _singles(
    mu: FloatArray,
    contributions: sparse.csr_array,
    proportional: BoolArray,
    shifts: Sequence[sparse.csr_array],
    which: IntArray,
) -> Singles:
    among = np.full(proportional.size, -1)
    among[which] = np.arange(which.size)
    row, parts = np.zeros(which.size, dtype=np.int64), list[FloatArray]()
    for matrix in (contributions, *shifts) if which.size else ():
        found = np.flatnonzero(among[matrix.indices] >= 0)
        place, data = among[matrix.indices[found]], matrix.data[found]
        own = np.searchsorted(matrix.indptr, found, side="right") - 1
        row[place[data != 0.0]] = own[data != 0.0]
        part = np.zeros(which.size)
        part[place] = data
        parts.append(part)
    parts = parts or [np.zeros(0)] * (1 + len(shifts))
    value = parts[0] / np.where(proportional[which], mu[row], 1.0)
    moved = np.reshape(parts[1:], (len(shifts), which.size))
    return Singles(row, value, proportional[which], moved)
