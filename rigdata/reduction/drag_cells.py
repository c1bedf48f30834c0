"""A run without clamp load as cells of drag torque."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.errors import ReductionError
from rigdata.logs.stream import Cuts
from rigdata.reduction.corrections import SLOPE_S, CorrectedRun, local_slope
from rigdata.reduction.drag import DragData
from rigdata.uncertainty.degrees import welch_satterthwaite

DRAG_CELL_S = 0.5


def drag_data(corrected: CorrectedRun) -> DragData:
    """Average the drag torque of a run without clamp load over cells of half a second."""
    time = corrected.time_s
    speed = np.abs(corrected.speed.values)
    rest = corrected.rest_speed
    moving = corrected.usable & (speed > max(rest, 0.01 * speed.max()))
    if not moving.any():
        raise ReductionError(
            "slip speed never leaves zero",
            where=f"run {corrected.run.id}",
            expected="a drag run with the plates slipping and no clamp load",
        )
    picked = np.flatnonzero(moving)
    cells = Cuts(np.floor((time[picked] - time[0]) / DRAG_CELL_S).astype(np.int64))

    def mean(values: FloatArray) -> FloatArray:
        return cells.sums(values[picked]) / cells.n

    u_zero, zero_dof = _zero_of_drag(corrected)
    return DragData(
        run=corrected.run.id,
        pack=corrected.pack.name,
        speed=mean(corrected.speed.values),
        acceleration=mean(local_slope(time, corrected.speed.values, SLOPE_S)),
        oil_temperature=mean(corrected.oil_temperature),
        torque=mean(corrected.torque.values),
        rest_speed=rest,
        u_zero=u_zero,
        zero_dof=zero_dof,
    )


def _zero_of_drag(corrected: CorrectedRun) -> tuple[float, float]:
    """Return the uncertainty of the torque's zero, with its drift, and degrees of freedom."""
    if corrected.zeros is None:
        return 0.0, math.inf
    zero = corrected.zeros.torque
    parts = [zero.u, zero.u_drift]
    return math.hypot(*parts), float(welch_satterthwaite(parts, [zero.dof, math.inf]))
