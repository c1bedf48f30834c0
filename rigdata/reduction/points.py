"""Friction points: the result of the reduction, with every cause of uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray, frozen
from rigdata.uncertainty.sources import Source

_TEXT = np.str_
# What the condition shifts are of, in their order, and the columns that hold them in files.
SHIFTED = ("slip_speed_shift", "temperature_shift_k", "pressure_shift")
# Columns of numbers that a table may lack: they are then NaN.
BEYOND = (
    "torque_ripple",
    "ripple_limit",
    "ripple_hz",
    "ripple_above_hz",
    "stick_share",
    "pack_work_kj",
    "pack_sliding_s",
    "pack_engagements",
    "runs_not_counted",
)


def _unknown() -> FloatArray:
    return np.empty(0)


@dataclass(frozen=True, eq=False)
class FrictionPoints:
    """A table of `n` friction points and the sources they share.

    Attributes
    ----------
    point : (n,) str
        Unique name of the point, ``<run>/<number>``.
    run, pack, material, batch, state, procedure : (n,) str
        Where the point comes from, as named in campaign.toml.
    service_hours : (n,) float
        Service time of the pack. [h]
    kind : (n,) str
        ``kinetic`` or ``static``.
    method : (n,) str
        ``ratio``, ``load-slope`` or ``breakaway``.
    direction : (n,) str
        ``up``, ``down`` or ``-`` (neither: held, or not a sweep).
    slip_speed_m_s, temperature_c, pressure_mpa : (n,) float
        Condition of the point; the slip speed of a static point is 0.
        [m/s, degC, MPa]
    mu : (n,) float
        Friction coefficient.
    u_random : (n,) float
        Standard uncertainty of the random part, independent of all others.
    n_samples, n_effective : (n,) int, float
        Samples averaged, and how many independent ones they amount to.
    start_s, end_s : (n,) float
        Where the point lies in its log. [s]
    dwell_s : (n,) float
        Time under load at standstill before a breakaway; NaN otherwise. [s]
    torque_ripple : (n,) float
        Amplitude of the torque's oscillation above 1 Hz over the mean torque, the
        noise of the idle cell taken off; NaN where it was not measured.
    ripple_limit : (n,) float
        What that noise alone stays below in 99 of 100 windows; NaN where it is not known.
    ripple_hz : (n,) float
        Frequency of the oscillation; NaN where none stands out. [Hz]
    ripple_above_hz : (n,) float
        What its frequency is above, where the log in frames shows no more; else NaN. [Hz]
    stick_share : (n,) float
        Share of the time at standstill between slips; NaN where it was not looked for.
    pack_work_kj : (n,) float
        Sliding work of the pack up to the middle of the point's window, with what it
        had done before its first run where that is stated; NaN where it is not known. [kJ]
    pack_sliding_s, pack_engagements : (n,) float
        Time that the pack slipped under load in these tests, and how often it began
        to, up to there. [s, 1]
    runs_not_counted : (n,) float
        Runs of the pack before this one whose logs could not be read: where there are
        any, the three above are the least they can be.
    used : (n,) bool
        Whether fits use the point.
    reason : (n,) str
        Why it is not used; empty otherwise.
    sources : tuple of m Source
        Named causes of uncertainty, in the order of the columns below.
    contributions : (n, m) sparse array
        Signed change of mu for one standard deviation of each source.
    condition_shifts : three (n, m) sparse arrays
        Signed change of the stated condition for one standard deviation of each
        source: slip speed (relative), temperature [K], pressure (relative).
        None for conditions known exactly.
    """

    point: TextArray
    run: TextArray
    pack: TextArray
    material: TextArray
    batch: TextArray
    state: TextArray
    service_hours: FloatArray
    procedure: TextArray
    kind: TextArray
    method: TextArray
    direction: TextArray
    slip_speed_m_s: FloatArray
    temperature_c: FloatArray
    pressure_mpa: FloatArray
    mu: FloatArray
    u_random: FloatArray
    n_samples: IntArray
    n_effective: FloatArray
    start_s: FloatArray
    end_s: FloatArray
    dwell_s: FloatArray
    used: BoolArray
    reason: TextArray
    sources: tuple[Source, ...]
    contributions: sparse.csr_array = field(repr=False)
    condition_shifts: tuple[sparse.csr_array, ...] | None = field(default=None, repr=False)
    torque_ripple: FloatArray = field(default_factory=_unknown)
    ripple_limit: FloatArray = field(default_factory=_unknown)
    ripple_hz: FloatArray = field(default_factory=_unknown)
    ripple_above_hz: FloatArray = field(default_factory=_unknown)
    stick_share: FloatArray = field(default_factory=_unknown)
    pack_work_kj: FloatArray = field(default_factory=_unknown)
    pack_sliding_s: FloatArray = field(default_factory=_unknown)
    pack_engagements: FloatArray = field(default_factory=_unknown)
    runs_not_counted: FloatArray = field(default_factory=_unknown)

    def __post_init__(self) -> None:
        for name in BEYOND:
            if np.size(getattr(self, name)) == 0:
                object.__setattr__(self, name, np.full(np.size(self.point), np.nan))
        for name in column_names():
            object.__setattr__(self, name, frozen(getattr(self, name), _COLUMN_TYPES[name]))
        shape = (self.point.size, len(self.sources))
        wrong = [n for n in column_names() if getattr(self, n).shape != self.point.shape]
        if wrong:
            raise ValueError(f"columns of unequal length: {wrong}")
        object.__setattr__(self, "contributions", _checked(self.contributions, shape))
        shifts = self.condition_shifts or (sparse.csr_array(shape),) * len(SHIFTED)
        object.__setattr__(self, "condition_shifts", tuple(_checked(s, shape) for s in shifts))

    def __len__(self) -> int:
        return int(self.point.size)

    @property
    def influences(self) -> tuple[sparse.csr_array, ...]:
        """Contributions to mu, then the three condition shifts."""
        return (self.contributions, *(self.condition_shifts or ()))

    @property
    def u_mu(self) -> FloatArray:
        """(n,) combined standard uncertainty of each point alone."""
        shared = np.asarray(self.contributions.power(2).sum(axis=1)).ravel()
        combined: FloatArray = np.sqrt(self.u_random**2 + shared)
        return combined

    def select(self, mask: BoolArray | IntArray) -> FrictionPoints:
        """Return the points chosen by `mask`, keeping the sources they name."""
        chosen = {name: getattr(self, name)[mask] for name in column_names()}
        matrices = [matrix[mask] for matrix in self.influences]
        live = np.unique(np.concatenate([matrix.nonzero()[1] for matrix in matrices]))
        contributions, *shifts = (matrix[:, live] for matrix in matrices)
        return FrictionPoints(
            **chosen,
            sources=tuple(self.sources[i] for i in live),
            contributions=contributions,
            condition_shifts=tuple(shifts),
        )

    def not_used(self, mask: BoolArray, reason: str) -> FrictionPoints:
        """Return the points with those in `mask` kept out of fits for `reason`."""
        why = np.where(mask & self.used, reason, self.reason)
        return replace(self, used=self.used & ~mask, reason=why)

    def frame(self) -> pd.DataFrame:
        """Return the columns of points.csv as a data frame."""
        data = {name: getattr(self, name) for name in column_names()}
        table = pd.DataFrame(data)
        table.insert(list(table).index("u_random"), "u_mu", self.u_mu)
        return table


_COLUMN_TYPES = {
    f.name: _TEXT
    if f.type == "TextArray"
    else {"FloatArray": np.float64, "IntArray": np.int64, "BoolArray": np.bool_}.get(str(f.type))
    for f in fields(FrictionPoints)
    if str(f.type).endswith("Array")
}


def column_names() -> tuple[str, ...]:
    """Names of the per-point columns, in file order (u_mu is derived)."""
    return tuple(_COLUMN_TYPES)


def concatenate(parts: Sequence[FrictionPoints]) -> FrictionPoints:
    """Join tables of points, none at all too; sources with the same id become one column."""
    if not parts:
        nothing: dict[str, Any] = {n: np.empty(0, kind) for n, kind in _COLUMN_TYPES.items()}
        return FrictionPoints(**nothing, sources=(), contributions=sparse.csr_array((0, 0)))
    order = {source.id: source for part in parts for source in part.sources}
    column = {name: i for i, name in enumerate(order)}
    blocks = []
    for part in parts:
        remap = np.array([column[s.id] for s in part.sources], dtype=np.int64)
        shape = (len(part), len(order))
        blocks.append([_moved(matrix, remap, shape) for matrix in part.influences])
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts]) for name in column_names()
    }
    contributions, *shifts = (
        sparse.vstack(stack, format="csr") for stack in zip(*blocks, strict=True)
    )
    return FrictionPoints(
        **joined,
        sources=tuple(order.values()),
        contributions=contributions,
        condition_shifts=tuple(shifts),
    )


def _checked(matrix: sparse.csr_array, shape: tuple[int, int]) -> sparse.csr_array:
    own = sparse.csr_array(matrix, dtype=np.float64, copy=True)
    own.sum_duplicates()
    if own.shape != shape:
        raise ValueError(f"an array of sources has the shape {own.shape}, not {shape}")
    own.data.setflags(write=False)
    return own


def _moved(matrix: sparse.csr_array, remap: IntArray, shape: tuple[int, int]) -> sparse.csr_array:
    """Return the matrix with its columns moved to the places of `remap`."""
    coo = matrix.tocoo()
    column = remap[coo.col] if coo.nnz else coo.col
    return sparse.csr_array((coo.data, (coo.row, column)), shape=shape)
