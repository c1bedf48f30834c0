"""Rotating inertia, sharpened by runs that speed up and slow down without clamp load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigdata.campaign.campaign import Oil
from rigdata.campaign.rig import Rig
from rigdata.errors import Notice, ReductionError, Severity
from rigdata.reduction.drag import DragData, fit_drag
from rigdata.uncertainty.effective_size import effective_size

# An identification worth having halves the stated uncertainty or nearly so.
_WORTH = 0.7
# Beyond this many combined uncertainties the stated and the found inertia contradict.
_CONTRADICTION = 3.0


@dataclass(frozen=True)
class Inertia:
    """Rotating inertia and its standard uncertainty. [kg m^2]"""

    value: float
    u: float


def found_inertia(data: Sequence[DragData], oil: Oil | None, stated: Inertia) -> Inertia | None:
    """Find the inertia from the torque that changes of speed take without clamp load.

    Parameters
    ----------
    data : sequence of DragData
        Drag runs, their torque less the stated ``J dw/dt``.
    oil : Oil or None
        As for `fit_drag`.
    stated : Inertia
        What was taken off.

    Returns
    -------
    Inertia or None
        From the runs alone; None where none of them speeds up or slows down.

    Notes
    -----
    In ``T = T_drag(w, T_oil) + dJ dw/dt`` the two parts are told apart because
    the same speed is passed at different rates.  dJ follows from the part of
    dw/dt that the terms of the drag surface cannot make up, run by run (the
    partitioned least squares of Frisch and Waugh, Econometrica 1 (1933) 387),
    and the runs are averaged by their weights.
    """
    weights, products = 0.0, 0.0
    for run in data:
        try:
            drag = fit_drag([run], oil)
        except ReductionError:
            continue
        design = drag.basis(run.speed, run.oil_temperature).T
        q, _ = np.linalg.qr(design)
        rate = run.acceleration - q @ (q.T @ run.acceleration)
        torque = run.torque - q @ (q.T @ run.torque)
        spread = float(rate @ rate)
        if spread <= 1e-12 * float(run.acceleration @ run.acceleration):
            continue
        change = float(rate @ torque) / spread
        residual = torque - change * rate
        freedom = residual.size - design.shape[1] - 1
        inflation = residual.size / effective_size(residual).n_effective
        variance = float(residual @ residual) / max(freedom, 1) * inflation / spread
        weights += 1.0 / variance
        products += change / variance
    if weights == 0.0:
        return None
    return Inertia(stated.value + products / weights, 1.0 / math.sqrt(weights))


def with_found_inertia(
    rig: Rig, data: Sequence[DragData], oil: Oil | None
) -> tuple[Rig, list[DragData], list[Notice]]:
    """Return the rig with the inertia that its drag runs and its file together say.

    The two are averaged by their weights, as long as the runs sharpen the stated
    value; a contradiction keeps the stated value and is a warning.

    Returns
    -------
    Rig
        With inertia and uncertainty replaced where the runs sharpen them.
    list of DragData
        The drag runs with the torque for that inertia.
    list of Notice
        What was done.
    """
    stated = Inertia(rig.inertia_kg_m2, rig.inertia_u_kg_m2)
    found = found_inertia(data, oil, stated)
    if found is None or found.u >= _WORTH * stated.u:
        return rig, list(data), []
    apart = abs(found.value - stated.value) / math.hypot(found.u, stated.u)
    text = f"inertia {found.value:.4g} kg*m^2 (u {found.u:.2g}) from the drag runs"
    where = str(rig.path.name)
    if apart > _CONTRADICTION:
        notice = Notice(
            Severity.WARNING,
            where,
            f"{text} contradicts the stated {stated.value:.4g} (u {stated.u:.2g}), which is used",
            "Check inertia_kg_m2 and the delay of the speed channel (lag_s).",
        )
        return rig, list(data), [notice]
    weights = found.u**-2, stated.u**-2
    value = (weights[0] * found.value + weights[1] * stated.value) / sum(weights)
    change = value - stated.value
    sharper = replace(rig, inertia_kg_m2=value, inertia_u_kg_m2=sum(weights) ** -0.5)
    moved = [replace(d, torque=d.torque - change * d.acceleration) for d in data]
    note = Notice(
        Severity.NOTE, where, f"{text} sharpens the stated {stated.value:.4g} (u {stated.u:.2g})"
    )
    return sharper, moved, [note]
