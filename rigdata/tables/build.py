"""Coefficient tables from fitted laws."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from importlib.metadata import version

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.campaign.campaign import Campaign
from rigdata.errors import Notice, RigdataError, Severity
from rigdata.friction.conditions import DWELL, Conditions
from rigdata.friction.envelope import (
    DWELL_TOLERANCE,
    PRESSURE_TOLERANCE,
    SPEED_TOLERANCE,
    TEMPERATURE_TOLERANCE_K,
)
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints
from rigdata.steps import Progress, counted
from rigdata.tables.correlation import SharedErrors, components, shared_errors
from rigdata.tables.grid import Box, choose_grid
from rigdata.tables.table import FIELDS, CoefficientTable, TableParameter

TOLERANCE = 0.005
_STEPS_K = (10.0, 5.0, 1.0, 0.5, 0.1)
_FACTORS = {
    "slip_speed_m_s": SPEED_TOLERANCE,
    "pressure_mpa": PRESSURE_TOLERANCE,
    DWELL: DWELL_TOLERANCE,
}


@dataclass(frozen=True, eq=False)
class Tables:
    """The coefficient tables of a campaign.

    Attributes
    ----------
    tables : mapping of Group to CoefficientTable
    notices : tuple of Notice
        Groups without a table, and why.
    """

    tables: Mapping[Group, CoefficientTable]
    notices: tuple[Notice, ...]


def build_tables(
    fits: Mapping[Group, FrictionFit],
    points: FrictionPoints,
    campaign: Campaign,
    *,
    static: Mapping[Group, FrictionFit] | None = None,
    tolerance: float = TOLERANCE,
    progress: Progress | None = None,
) -> Tables:
    """Build the table of every group.

    Parameters
    ----------
    fits, static : mapping of Group to FrictionFit
        Laws of the kinetic coefficient, and of breakaway where it was tested.
    points : FrictionPoints
        What the fits rest on, for the provenance.
    campaign : Campaign
    tolerance : float
        Largest error of linear interpolation, as a fraction of mu.

    Returns
    -------
    Tables
        A group whose table cannot be built is named in the notices and does
        not stop the others.
    """
    tables: dict[Group, CoefficientTable] = {}
    notices: list[Notice] = []
    breakaway = static or {}

    def built(fit: FrictionFit, kind: str) -> CoefficientTable:
        shared = shared_errors(fit, points, campaign.origins)
        provenance = _provenance(fit.group, points, campaign)
        return build_table(fit, kind, provenance, shared, tolerance=tolerance)

    for group in counted(progress, "building the table of", fits):
        fit = fits[group]
        try:
            table = built(fit, "kinetic")
        except RigdataError as fault:
            notices.append(Notice(Severity.LEFT_OUT, f"table of {group}", fault.what, fault.do))
            continue
        if group in breakaway:
            try:
                table = replace(table, static=built(breakaway[group], "static"))
            except RigdataError as fault:
                where = f"breakaway table of {group}"
                notices.append(Notice(Severity.LEFT_OUT, where, fault.what, fault.do))
        tables[group] = table
    for group in breakaway.keys() - fits.keys():
        what = "breakaway was tested, but there is no kinetic law to make a table with"
        notices.append(Notice(Severity.LEFT_OUT, f"table of {group}", what))
    return Tables(tables, tuple(notices))


def build_table(
    fit: FrictionFit,
    kind: str,
    provenance: Mapping[str, object],
    shared: SharedErrors | None = None,
    *,
    tolerance: float = TOLERANCE,
) -> CoefficientTable:
    """Build one table.

    Parameters
    ----------
    fit : FrictionFit
    kind : str
        ``kinetic`` or ``static``.
    provenance : mapping
        Goes into the table as it is.
    shared : SharedErrors, optional
        Errors of the rig, to be named.
    tolerance : float
        Largest error of linear interpolation, as a fraction of mu.

    Raises
    ------
    TableError
        When no grid of a reasonable size keeps the tolerance.
    """
    form = fit.form
    box = readable_box(fit)
    reference = tuple(float(getattr(fit.reference, name)) for name in fit.envelope.axes)
    promised = FIELDS[:1] + FIELDS[2:] if fit.n_packs > 1 else FIELDS[:1] + FIELDS[2:4]

    def surface(*place: FloatArray) -> FloatArray:
        prediction = fit.predict(Conditions(*place))
        return np.stack([getattr(prediction, name) for name in promised])

    def tested(*place: FloatArray) -> BoolArray:
        return fit.envelope.contains(Conditions(*place))

    grid = choose_grid(surface, box, tolerance=tolerance, inside=tested, keep=reference)
    shape = tuple(nodes.size for nodes in grid.axes)
    mesh = Conditions(*(part.ravel() for part in np.meshgrid(*grid.axes, indexing="ij")))
    prediction = fit.predict(mesh)
    u = np.sqrt(np.diag(fit.covariance))
    causes, moved = components(
        form.jacobian(mesh.after(fit.reference.dwell_s), fit.theta, fit.reference),
        fit.covariance,
        shared or SharedErrors.none(u.size),
        prediction.inside,
    )
    return CoefficientTable(
        material=fit.group.material,
        state=fit.group.state,
        kind=kind,
        slip_speed_m_s=grid.axes[0],
        temperature_c=grid.axes[1],
        pressure_mpa=grid.axes[2],
        dwell_s=grid.axes[3] if len(grid.axes) > 3 else None,
        nodes=np.stack([getattr(prediction, name).reshape(shape) for name in FIELDS]),
        inside_envelope=prediction.inside.reshape(shape),
        law=fit.law,
        parameters=tuple(
            TableParameter(p.name, float(value), float(spread) or None, p.unit, p.meaning)
            for p, value, spread in zip(form.parameters, fit.theta, u, strict=True)
        ),
        reference=reference,
        envelope=fit.envelope,
        tolerance=tolerance,
        error=grid.error,
        provenance=provenance,
        causes=causes,
        components=moved.reshape(len(causes), *shape),
    )


def readable_box(fit: FrictionFit) -> Box:
    """Return the tested range of each axis with its ends at readable numbers.

    The ends move outward only, and by no more than the envelope's tolerance.
    """
    ends = {}
    for axis, low, high in zip(
        fit.envelope.axes, fit.envelope.low.tolist(), fit.envelope.high.tolist(), strict=True
    ):
        if axis in _FACTORS:
            ends[axis] = _down(low, _FACTORS[axis]), _up(high, _FACTORS[axis])
        else:
            room = TEMPERATURE_TOLERANCE_K
            ends[axis] = -_up_by_steps(-low, room), _up_by_steps(high, room)
    return tuple(ends.values())


def _up(value: float, factor: float) -> float:
    """Round up to the fewest digits that stay within `factor`."""
    return _to_digits(value, math.ceil, value, value * factor)


def _down(value: float, factor: float) -> float:
    """Round down to the fewest digits that stay within `factor`."""
    return _to_digits(value, math.floor, value / factor, value)


def _to_digits(value: float, turn: Callable[[float], int], low: float, high: float) -> float:
    if value <= 0.0:
        return value
    first = math.floor(math.log10(value))
    for decimals in range(-first, 6 - first):
        rounded = float(f"{turn(value * 10.0**decimals)}e{-decimals}")
        if low <= rounded <= high:
            return rounded
    return value


def _up_by_steps(value: float, room: float) -> float:
    """Round up to the widest step that stays within `room`."""
    for step in _STEPS_K:
        rounded = math.ceil(round(value / step, 9)) * step
        if value <= rounded <= value + room:
            return round(rounded, 1)
    return value


def _provenance(group: Group, points: FrictionPoints, campaign: Campaign) -> dict[str, object]:
    """Say where a table comes from, as the published schema has it."""
    own = points.used & (points.material == group.material) & (points.state == group.state)
    material = campaign.materials.get(group.material)
    histories = campaign.rig.histories.values()
    records = {record.id: record.sha256 for history in histories for record in history}
    return {
        "program": "rigdata",
        "version": version("rigdata"),
        "campaign": campaign.name,
        "date": campaign.date.isoformat() if campaign.date else None,
        "friction_plate": material.friction_plate if material else "",
        "mating_plate": material.mating_plate if material else "",
        "packs": list(dict.fromkeys(points.pack[own].tolist())),
        "runs": list(dict.fromkeys(points.run[own].tolist())),
        "points": int(own.sum()),
        "records": [{"id": name, "sha256": digest} for name, digest in sorted(records.items())],
    }
