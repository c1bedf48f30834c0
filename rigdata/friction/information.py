"""What a layout tells of its variance components: ``tr(P V_i)`` and ``tr(P V_i P V_j)``.

With ``P = D^-1 - U1 U1^T - U2 U2^T - U3 U3^T``, where U1 reaches no further than a
run and U2 no further than a pack, all sums over pairs of runs follow from small
second moments.  For the effects F of runs, for one,
``F^T P F = Q - W2 W2^T - W3 W3^T`` with Q one block a run, ``W2 = F^T U2`` and
``W3 = F^T U3``, so that its sum of squares never asks for the whole matrix.  What
is subtracted is of the size of what is left, as each level has been taken out
before the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.elimination import Moments
from rigdata.friction.inverse import Inverse
from rigdata.friction.nesting import Rows
from rigdata.friction.spectrum import Effects, Spectrum, seen, spectrum

_ROOT_2 = float(np.sqrt(2.0))
_ROUNDING = 1e-13  # of what there is of a component


@dataclass(frozen=True, eq=False)
class Terms:
    """What P holds of c variance components.

    Attributes
    ----------
    trace : (c,) array
        ``tr(P V_i)``.
    square : (c, c) array
        ``tr(P V_i P V_j)``.
    precision : (n,) array
        Diagonal of P.
    """

    trace: FloatArray
    square: FloatArray
    precision: FloatArray


def terms_of(inverse: Inverse, weights: Sequence[FloatArray | None]) -> Terms:
    """Return the terms of all components.

    Parameters
    ----------
    inverse : Inverse
    weights : sequence of c arrays
        Weights (n,) of each component; None for one with columns of its own.
    """
    columns, rows, p = inverse.columns, inverse.columns.rows, inverse.fitted.shape[1]
    effects = Effects.of(columns.slots, len(weights))
    found = spectrum(effects, inverse.moments, inverse.elimination)
    sums = Sums.of(rows, found)
    trace, square = effect_terms(effects, rows, found, sums)
    flat = [(i, own) for i, own in enumerate(weights) if own is not None]
    roots = [rows.laid(np.sqrt(own)) * inverse.inverse_root for _, own in flat]
    lever = np.zeros(inverse.inverse_root.shape)
    moments = [Moments.none(rows, found.widths) for _ in flat]
    for chunk in rows.chunks:
        held = slice(columns.values.shape[2] + p)
        each = seen(rows, found, chunk, inverse.part(chunk.tiles)[..., held])
        lever[chunk.tiles] = found.lever(each)
        for total, root in zip(moments, roots, strict=True):
            total.add(chunk, root[chunk.tiles, :, None] * each)
    share, inverse_variance = rows.taken(lever), inverse.inverse_variance
    told = [weight_terms(effects, found, sums, total) for total in moments]
    for (i, own), mine in zip(flat, told, strict=True):
        trace[i] = np.sum(own * inverse_variance) - mine.lever
        cross = np.where(trace > 0.0, mine.cross, 0.0)
        square[i] += cross
        square[:, i] += cross
        for (j, other), theirs in zip(flat, told, strict=True):
            alone = np.sum(own * other * inverse_variance**2 * (1.0 - 2.0 * share))
            square[i, j] = alone + mine.product(theirs)
    return Terms(trace, square, inverse_variance * (1.0 - share))


@dataclass(frozen=True, eq=False)
class Sums:
    """Second moments of ``F^T U`` over the U of packs and the wide ones, a flat line a slot.

    Products of two lines, or of a line and `WeightTerms.beyond`, sum up over pairs of
    runs or of points; moments that stand for two such pairs therefore count ``sqrt(2)``.

    Attributes
    ----------
    run : (e1, ...) array
        Of the effects of runs: over the U of packs, these with the wide ones, the wide ones.
    pack : (e2, (q + p)^2) array
        Of the effects of packs, over the wide ones.
    """

    run: FloatArray
    pack: FloatArray

    @classmethod
    def of(cls, rows: Rows, found: Spectrum) -> Sums:
        """Return the sums over all runs and packs."""
        lines = []
        for slot in range(found.run_pack.shape[1]):
            near, far = found.run_pack[:, slot, :], found.run_wide[:, slot, :]
            square = rows.by_pack(near[:, :, None] * near[:, None, :])
            cross = rows.by_pack(near[:, :, None] * far[:, None, :])
            lines.append(_joined(square, _ROOT_2 * cross, far.T @ far))
        above = np.moveaxis(found.pack_wide, 1, 0)
        wide = above.swapaxes(1, 2) @ above
        k2, k3 = found.run_pack.shape[2], found.run_wide.shape[2]
        length = rows.n_packs * k2 * (k2 + k3) + k3**2
        return cls(np.reshape(lines, (len(lines), length)), wide.reshape(len(wide), k3**2))


def effect_terms(
    effects: Effects, rows: Rows, found: Spectrum, sums: Sums
) -> tuple[FloatArray, FloatArray]:
    """Return ``tr(P V_i)`` (c,) and ``tr(P V_i P V_j)`` (c, c) of the components with effects.

    Both are 0 for effects that the law itself can follow, of which P leaves rounding only.
    """
    q11, q12, q13 = found.run_own
    q22, q23 = found.pack_own
    w12, w13, w23 = found.run_pack, found.run_wide, found.pack_wide
    over = w12 @ w12.swapaxes(1, 2) + w13 @ w13.swapaxes(1, 2)
    above = w23 @ w23.swapaxes(1, 2)
    across = w13 @ w23[rows.pack_of].swapaxes(1, 2)
    (e1, e2, _), count = effects.counts, len(effects.member)
    e12 = e1 + e2
    total, whole = np.zeros(count), np.zeros((count, count))
    total[:e1] = np.diagonal(np.sum(q11 - over, axis=0))
    total[e1:e12] = np.diagonal(np.sum(q22 - above, axis=0))
    total[e12:] = np.diagonal(found.wide_own)
    beyond = sums.run[:, sums.run.shape[1] - sums.pack.shape[1] :]
    whole[:e1, :e1] = np.sum(q11 * (q11 - 2.0 * over), axis=0) + sums.run @ sums.run.T
    whole[:e1, e1:e12] = np.sum(q12 * (q12 - 2.0 * across), axis=0) + beyond @ sums.pack.T
    whole[:e1, e12:] = np.sum(q13**2, axis=0)
    whole[e1:e12, e1:e12] = np.sum(q22 * (q22 - 2.0 * above), axis=0) + sums.pack @ sums.pack.T
    whole[e1:e12, e12:] = np.sum(q23**2, axis=0)
    whole[e12:, e12:] = found.wide_own**2
    whole[e1:, :e1] = whole[:e1, e1:].T
    whole[e12:, e1:e12] = whole[e1:e12, e12:].T
    trace = total @ effects.member
    seen_of = trace > _ROUNDING * (found.gross @ effects.member)
    square = effects.member.T @ whole @ effects.member
    return np.where(seen_of, trace, 0.0), np.where(seen_of & seen_of[:, None], square, 0.0)


@dataclass(frozen=True, eq=False)
class WeightTerms:
    """What the weights W of one component, one value a row, have in P.

    Attributes
    ----------
    lever : float
        ``tr(U^T W U)``.
    cross : (c,) array
        ``tr(P W P V_i)`` of the components with effects.
    within, beyond : array
        ``U^T W U`` of the U of runs with all, and of the others, as flat as `Sums` are.
    """

    lever: float
    cross: FloatArray
    within: FloatArray
    beyond: FloatArray

    def product(self, other: WeightTerms) -> float:
        """Return ``tr(U^T W U U^T W' U)``."""
        return float(self.within @ other.within + self.beyond @ other.beyond)


def weight_terms(effects: Effects, found: Spectrum, sums: Sums, seen_by: Moments) -> WeightTerms:
    """Return the terms of weights by the moments of [U1, F1, U2, F2, U3, F3] under them."""
    run, pack, wide = seen_by.run, seen_by.pack, seen_by.wide
    w1, w2 = run.shape[1], pack.shape[1]
    e1, e2, e3 = effects.counts
    k1, k2, k3, e12 = w1 - e1, w2 - e2, len(wide) - e3, e1 + e2
    in_pack, in_wide, above = slice(w1, w1 + k2), slice(w1 + w2, w1 + w2 + k3), slice(w2, w2 + k3)
    beyond = _joined(pack[:, :k2, :k2], _ROOT_2 * pack[:, :k2, above], wide[:k3, :k3])
    cross = np.zeros(len(effects.member))
    cross[:e1] = np.diagonal(np.sum(run[:, k1:, k1:w1], axis=0)) + sums.run @ beyond
    cross[:e1] -= 2.0 * np.einsum("rak,rak->a", run[:, k1:, in_pack], found.run_pack)
    cross[:e1] -= 2.0 * np.einsum("rak,rak->a", run[:, k1:, in_wide], found.run_wide)
    cross[e1:e12] = np.diagonal(np.sum(pack[:, k2:, k2:w2], axis=0))
    cross[e1:e12] += sums.pack @ beyond[beyond.size - k3 * k3 :]
    cross[e1:e12] -= 2.0 * np.einsum("pak,pak->a", pack[:, k2:, above], found.pack_wide)
    cross[e12:] = np.diagonal(wide)[k3:]
    return WeightTerms(
        lever=float(
            np.einsum("raa->", run[:, :k1, :k1])
            + np.einsum("paa->", pack[:, :k2, :k2])
            + np.trace(wide[:k3, :k3])
        ),
        cross=cross @ effects.member,
        within=_joined(
            run[:, :k1, :k1], _ROOT_2 * run[:, :k1, in_pack], _ROOT_2 * run[:, :k1, in_wide]
        ),
        beyond=beyond,
    )


def _joined(*parts: FloatArray) -> FloatArray:
    """Return the entries of all parts in one line."""
    return np.concatenate([part.ravel() for part in parts])
