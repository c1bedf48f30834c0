"""One friction point in the making: its value, and how each source moves it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from rigdata.arrays import FloatArray, IntArray, TextArray
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.sources import Effect, Source


@dataclass(frozen=True)
class Draft:
    """One friction point before it is numbered; fields as in `FrictionPoints`."""

    kind: str
    method: str
    direction: str
    slip_speed_m_s: float
    temperature_c: float
    pressure_mpa: float
    mu: float
    u_random: float
    n_samples: int
    n_effective: float
    start_s: float
    end_s: float
    contributions: Mapping[Source, float] = field(repr=False)
    dwell_s: float = float("nan")
    reason: str = ""


def linear_contributions(
    corrected: CorrectedRun,
    frames: IntArray,
    torque_weight: FloatArray,
    load_weight: FloatArray,
    mu: float,
) -> dict[Source, float]:
    """Signed contribution of every source of the run to one coefficient.

    Parameters
    ----------
    frames : (k,) int array
        The frames that the coefficient is made from.
    torque_weight, load_weight : (k,) array
        Derivative of mu by the torque and by the load of each frame. [1/(N m), 1/N]
    mu : float
        The coefficient, which the effective radius divides.

    Notes
    -----
    ``c_j = sum_i (dmu/dT_i dT_ij + dmu/dF_i dF_ij) - mu dr_ij / r`` for one
    standard deviation of source j (JCGM 100:2008, 5.1.3).  A source that acts on
    torque and load alike, such as a shared supply, is summed with its sign.
    """
    total: dict[Source, float] = {}
    by_torque = corrected.torque.sensitivity[:, frames] @ torque_weight
    by_load = corrected.load.sensitivity[:, frames] @ load_weight
    rows = (
        *zip(corrected.torque.sources, by_torque, strict=True),
        *zip(corrected.load.sources, by_load, strict=True),
        *zip(corrected.geometry.sources, -mu * corrected.geometry.relative, strict=True),
    )
    for source, value in rows:
        # A clamp-load error scales mu whatever the shape of the error in newton.
        acting = _scaling(source) if source in corrected.load.sources else source
        total[acting] = total.get(acting, 0.0) + float(value)
    return {source: value for source, value in total.items() if value != 0.0}


def _scaling(source: Source) -> Source:
    return Source(source.id, source.scope, Effect.PROPORTIONAL, source.label)


def to_points(corrected: CorrectedRun, drafts: Sequence[Draft]) -> FrictionPoints:
    """Number the drafts of one run and put them into a table."""
    run, pack = corrected.run, corrected.pack
    count = len(drafts)
    column: dict[Source, int] = {}
    row_index, column_index, values = [], [], []
    for i, draft in enumerate(drafts):
        for source, value in draft.contributions.items():
            row_index.append(i)
            column_index.append(column.setdefault(source, len(column)))
            values.append(value)

    def constant(text: str) -> TextArray:
        return np.array([text] * count, dtype=np.str_)

    def each(name: str) -> NDArray[Any]:
        return np.array([getattr(draft, name) for draft in drafts])

    return FrictionPoints(
        point=np.array([f"{run.id}/{i + 1}" for i in range(count)]),
        run=constant(run.id),
        pack=constant(pack.name),
        material=constant(pack.material),
        batch=constant(pack.batch),
        state=constant(pack.state),
        service_hours=np.full(count, pack.service_hours),
        procedure=constant(run.procedure),
        kind=each("kind"),
        method=each("method"),
        direction=each("direction"),
        slip_speed_m_s=each("slip_speed_m_s"),
        temperature_c=each("temperature_c"),
        pressure_mpa=each("pressure_mpa"),
        mu=each("mu"),
        u_random=each("u_random"),
        n_samples=each("n_samples"),
        n_effective=each("n_effective"),
        start_s=each("start_s"),
        end_s=each("end_s"),
        dwell_s=each("dwell_s"),
        used=np.array([not draft.reason for draft in drafts]),
        reason=each("reason"),
        sources=tuple(column),
        contributions=sparse.csr_array(
            (values, (row_index, column_index)), shape=(count, len(column))
        ),
    )
