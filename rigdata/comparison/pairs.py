"""Which groups are compared, and at which conditions both were tested."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rigdata.campaign.campaign import STATES, Reference
from rigdata.comparison.verdict import condition_text
from rigdata.errors import Notice, Severity
from rigdata.friction.conditions import AXES, Conditions, at
from rigdata.friction.envelope import Envelope, nearest
from rigdata.friction.results import FrictionFit, Group

_SPEEDS = 7  # nodes of the grid in slip speed, between the ends of the common envelope


def pairs(fits: Mapping[Group, FrictionFit], baseline: str) -> list[tuple[Group, Group]]:
    """Return which groups are compared with which."""
    found = [(group, Group(baseline, group.state)) for group in fits if group.material != baseline]
    found += [(group, Group(group.material, STATES[0])) for group in fits if group.state != "new"]
    return [(group, against) for group, against in found if against in fits]


def quoted_place(
    fits: Mapping[Group, FrictionFit], group: Group, against: Group, reference: Reference
) -> tuple[Conditions | None, tuple[Notice, ...]]:
    """Return the condition to quote, the reference where both groups were tested there."""
    wanted = at(reference)
    place = nearest([fits[group].envelope, fits[against].envelope], wanted)
    moved = place is not None and any(
        not fits[which].envelope.contains(wanted)[0] for which in (group, against)
    )
    if place is None or not moved:
        return place, ()
    return place, (
        Notice(
            Severity.WARNING,
            f"{group} against {against}",
            f"the reference condition ({condition_text(wanted)}) was not tested on both; "
            f"compared at the nearest that was ({condition_text(place)})",
            "Test both at the reference condition",
        ),
    )


def with_grid(place: Conditions, one: Envelope, other: Envelope) -> Conditions:
    """Return `place` followed by a grid over what both groups were tested at."""
    low = np.maximum(one.low, other.low)
    high = np.minimum(one.high, other.high)
    speed, temperature, pressure = (float(getattr(place, name)[0]) for name in AXES)
    speeds = {speed} if high[0] <= low[0] else set(np.geomspace(low[0], high[0], _SPEEDS))
    temperatures = sorted({temperature} if high[1] <= low[1] else {low[1], temperature, high[1]})
    pressures = sorted({pressure} if high[2] <= low[2] else {low[2], pressure, high[2]})
    mesh = np.meshgrid(sorted(speeds), temperatures, pressures, indexing="ij")
    grid = Conditions(
        *(
            np.concatenate([[first], axis.ravel()])
            for first, axis in zip((speed, temperature, pressure), mesh, strict=True)
        )
    )
    inside = one.contains(grid) & other.contains(grid)
    inside[0] = True
    return grid.select(inside)
