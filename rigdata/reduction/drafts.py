"""One friction point in the making: its value, and how each source moves it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from rigdata.arrays import FloatArray, TextArray
from rigdata.reduction.condition_shifts import Shift
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.oscillation import NOT_MEASURED, Oscillation
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reading import Reading
from rigdata.uncertainty.sources import Source


@dataclass(frozen=True)
class Draft:
    """One friction point before it is numbered, and the reading it was made from.

    The other fields are as in `FrictionPoints`.
    """

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
    shifts: Mapping[Source, Shift] = field(repr=False)
    reading: Reading = field(repr=False)
    dwell_s: float = math.nan
    oscillation: Oscillation = NOT_MEASURED
    stick_share: float = math.nan
    reason: str = ""


def to_points(corrected: CorrectedRun, drafts: Sequence[Draft]) -> FrictionPoints:
    """Number the drafts of one run and put them into a table."""
    run, pack = corrected.run, corrected.pack
    count = len(drafts)
    acting = (s for draft in drafts for s in (*draft.contributions, *draft.shifts))
    column = {source: i for i, source in enumerate(dict.fromkeys(acting))}
    none: Shift = (0.0, 0.0, 0.0)
    entries = [
        (i, column[source], draft.contributions.get(source, 0.0), *draft.shifts.get(source, none))
        for i, draft in enumerate(drafts)
        for source in dict.fromkeys((*draft.contributions, *draft.shifts))
    ]
    row, place, *values = np.array(entries).reshape(-1, 6).T
    at = (row.astype(np.int64), place.astype(np.int64))

    def matrix(amounts: FloatArray) -> sparse.csr_array:
        made = sparse.csr_array((amounts, at), shape=(count, len(column)))
        made.eliminate_zeros()
        return made

    def constant(text: str) -> TextArray:
        return np.array([text] * count, dtype=np.str_)

    def each(name: str) -> NDArray[Any]:
        return np.array([getattr(draft, name) for draft in drafts])

    waves = np.array([draft.oscillation for draft in drafts])
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
        torque_ripple=waves[:, 0],
        ripple_limit=waves[:, 1],
        ripple_hz=waves[:, 2],
        ripple_above_hz=waves[:, 3],
        stick_share=each("stick_share"),
        used=np.array([not draft.reason for draft in drafts]),
        reason=each("reason"),
        sources=tuple(column),
        contributions=matrix(values[0]),
        condition_shifts=tuple(matrix(amounts) for amounts in values[1:]),
    )
