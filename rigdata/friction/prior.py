"""What is taken for granted of the parameters of smooths, as rows below the points.

Each parameter counts as observed to be 0, with a variance that its smooth has.  A
penalised fit is the best linear unbiased prediction of a mixed model whose penalised
coefficients are random, so the restricted likelihood of these variances chooses the
smoothing together with every scatter.  Once found they count as known: the covariance
is then that of Bayes, whose bands hold over the function as a whole (S. N. Wood,
Generalized Additive Models, 2nd ed. (2017), 4.2.4, 6.2; D. Nychka, J. Am. Stat.
Assoc. 83 (1988) 1134).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.friction.laws.base import Law
from rigdata.friction.mixed_model import Component, MixedModel

STIFF = 1e-10  # variance of the bends of a smooth without bends: 0.001 % of mu


@dataclass(frozen=True, eq=False)
class Prior:
    """The rows below the points.

    Attributes
    ----------
    names : tuple of s str
        Names of the smooths, in a joint fit followed by the number of the group.
    columns : (q,) int
        Which of all P parameters they hold.
    smooth : (q,) int
        Which smooth each of these belongs to.
    """

    names: tuple[str, ...]
    columns: IntArray
    smooth: IntArray

    def residual(self, theta: FloatArray) -> FloatArray:
        """Return how far the parameters lie from 0, as observed less fitted, (q,)."""
        return -theta[self.columns]

    def design(self, size: int) -> FloatArray:
        """Return the derivatives of the rows with respect to all `size` parameters, (q, P)."""
        rows = np.zeros((self.columns.size, size))
        rows[np.arange(self.columns.size), self.columns] = 1.0
        return rows

    def __len__(self) -> int:
        return int(self.columns.size)

    def below(self, rows: NDArray[Any], fill: float = 0.0) -> NDArray[Any]:
        """Return (n, ...) rows for the points with `fill` below them, (n + q, ...)."""
        return np.concatenate([rows, np.full((len(self), *rows.shape[1:]), fill, rows.dtype)])

    def nothing_below(self, matrix: sparse.csr_array) -> sparse.csr_array:
        """Return a sparse (n, m) array with q empty rows below."""
        if not len(self):
            return matrix
        empty = sparse.csr_array((len(self), matrix.shape[1]))
        return sparse.csr_array(sparse.vstack([matrix, empty]))

    def components(self, n: int) -> tuple[Component, ...]:
        """Return the variances of the smooths, below n points."""
        none = np.zeros(n)
        return tuple(
            Component(name, np.concatenate([none, self.smooth == i]), prior=True)
            for i, name in enumerate(self.names)
        )


def prior_of(laws: Sequence[Law], free: Sequence[BoolArray]) -> Prior:
    """Return the rows for the smooths of `laws`, of whose parameters those in `free` are fitted."""
    names: list[str] = []
    columns: list[int] = []
    smooth: list[int] = []
    start = 0
    for i, (law, fitted) in enumerate(zip(laws, free, strict=True)):
        for own in law.smooths:
            places = [law.names.index(name) for name in own.members]
            kept = [start + place for place in places if fitted[place]]
            if kept:
                columns += kept
                smooth += [len(names)] * len(kept)
                names.append(own.name if len(laws) == 1 else f"{own.name} {i}")
        start += len(law.names)
    return Prior(tuple(names), np.array(columns, dtype=np.int64), np.array(smooth, dtype=np.int64))


def settled(model: MixedModel, variances: FloatArray) -> tuple[MixedModel, FloatArray]:
    """Return a model in which the variances of smooths are known, and the other variances."""
    diagonal = model.diagonal.copy()
    for variance, part in zip(variances, model.components, strict=True):
        if part.prior and part.weights is not None:
            diagonal += variance * part.weights
    scatter = np.array([not part.prior for part in model.components], dtype=bool)
    kept = tuple(part for part in model.components if not part.prior)
    return replace(model, diagonal=diagonal, components=kept), variances[scatter]
