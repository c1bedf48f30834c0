"""The torque and load that a coefficient is read from, and what shifts them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import FloatArray, IntArray, frozen
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.geometry import Geometry
from rigdata.reduction.load_line import LoadLine
from rigdata.uncertainty.sources import Effect, Source


@dataclass(frozen=True, eq=False)
class Reading:
    """Mean torque and load in the c cells of one friction point.

    A window or a breakaway is one cell, a load sweep has many.

    Attributes
    ----------
    torque_nm : (c,) float
        Friction torque, positive along the slip. [N m]
    load_n : (c,) float
        Mean load on the faces. [N]
    sources : tuple of k Source
        Causes of uncertainty in either.
    torque_shift, load_shift : (k, c) float
        Signed change of torque and load for one standard deviation of each
        source.  [N m, N]
    geometry : Geometry
        The faces, with the sources of their effective radius.
    line : LoadLine or None
        The line through the cells of a load sweep; None elsewhere.
    ln_load : float
        Where on that line the point lies: ln of its load over the line's reference.
    """

    torque_nm: FloatArray
    load_n: FloatArray
    sources: tuple[Source, ...]
    torque_shift: FloatArray
    load_shift: FloatArray
    geometry: Geometry
    line: LoadLine | None = None
    ln_load: float = 0.0

    def __post_init__(self) -> None:
        for name in ("torque_nm", "load_n", "torque_shift", "load_shift"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def arm_m(self) -> float:
        """Friction faces times effective radius. [m]"""
        return self.geometry.faces * self.geometry.radius_m


def read(
    corrected: CorrectedRun,
    cells: Sequence[IntArray],
    sign: float,
    torque_weights: FloatArray | None = None,
) -> Reading:
    """Read torque and load of a run in some cells.

    Parameters
    ----------
    corrected : CorrectedRun
    cells : sequence of c (m_i,) int arrays
        Frames of each cell, none empty.
    sign : float
        1 or -1: the direction of slip.
    torque_weights : (sum m_i,) array, optional
        Weight of each frame in the torque; equal weights that add up to 1 in
        each cell by default, as for the load.
    """
    frames = np.concatenate(cells)
    sizes = np.array([cell.size for cell in cells])
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    equal = np.repeat(1.0 / sizes, sizes)
    weights = sign * (equal if torque_weights is None else torque_weights)

    def summed(rows: FloatArray, by: FloatArray) -> FloatArray:
        total: FloatArray = np.add.reduceat(rows[..., frames] * by, starts, axis=-1)
        return total

    torque, load = corrected.torque, corrected.load
    scaled = {source: scaling(source) for source in load.sources}
    acting = [scaled.get(source, source) for source in torque.sources]
    place = {source: i for i, source in enumerate(dict.fromkeys((*acting, *scaled.values())))}
    torque_shift, load_shift = np.zeros((2, len(place), len(cells)))
    torque_shift[[place[source] for source in acting]] = summed(torque.sensitivity, weights)
    load_shift[[place[source] for source in scaled.values()]] = summed(load.sensitivity, equal)
    return Reading(
        torque_nm=summed(torque.values, weights),
        load_n=summed(load.values, equal),
        sources=tuple(place),
        torque_shift=torque_shift,
        load_shift=load_shift,
        geometry=corrected.geometry,
    )


def scaling(source: Source) -> Source:
    """Return a source of the load as it acts on mu: in proportion, whatever it is in newton."""
    return replace(source, effect=Effect.PROPORTIONAL)


def linear_contributions(
    reading: Reading, by_torque: FloatArray, by_load: FloatArray, mu: float
) -> dict[Source, float]:
    """Signed contribution of every source of a reading to its coefficient.

    Parameters
    ----------
    reading : Reading
    by_torque, by_load : (c,) array
        Derivative of mu by the torque and by the load of each cell. [1/(N m), 1/N]
    mu : float
        The coefficient, which the effective radius divides.

    Notes
    -----
    ``c_j = sum_i (dmu/dT_i dT_ij + dmu/dF_i dF_ij) - mu dr_ij / r`` for one
    standard deviation of source j (JCGM 100:2008, 5.1.3).  A source that acts on
    torque and load alike, such as a shared supply, is summed with its sign.
    """
    values = reading.torque_shift @ by_torque + reading.load_shift @ by_load
    rows = (
        *zip(reading.sources, values.tolist(), strict=True),
        *zip(reading.geometry.sources, (-mu * reading.geometry.relative).tolist(), strict=True),
    )
    return {source: value for source, value in rows if value != 0.0}
