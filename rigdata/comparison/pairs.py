"""Which groups are compared, and at which conditions both were tested."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from rigdata.campaign.campaign import STATES, Reference
from rigdata.comparison.verdict import condition_text
from rigdata.errors import Notice, Severity
from rigdata.friction.conditions import AXES, LEAST_TEMPERATURE_SPAN_K, Conditions, at
from rigdata.friction.envelope import Envelope, nearest
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.slopes import well_tested_ends

QUOTED, COLD, HOT = "quoted", "cold", "hot"  # names of conditions that are told in words
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


def with_grid(
    place: Conditions, one: Envelope, other: Envelope
) -> tuple[Conditions, tuple[str, ...]]:
    """Return `place`, then cold and hot there, then a grid over what both were tested at.

    Cold and hot are the ends of the temperatures at which half of the speeds were tested
    on both, at the slip speed and pressure of `place`, where they lie far enough from it.
    The names of these first conditions come with them: ``quoted``, ``cold``, ``hot``.
    """
    low = np.maximum(one.low, other.low)
    high = np.minimum(one.high, other.high)
    speed, temperature, pressure = (float(getattr(place, name)[0]) for name in AXES)
    speeds = {speed} if high[0] <= low[0] else set(np.geomspace(low[0], high[0], _SPEEDS))
    temperatures = sorted({temperature} if high[1] <= low[1] else {low[1], temperature, high[1]})
    pressures = sorted({pressure} if high[2] <= low[2] else {low[2], pressure, high[2]})
    mesh = np.meshgrid(sorted(speeds), temperatures, pressures, indexing="ij")
    ends = _cold_and_hot(place, one, other)
    first = (speed, [temperature, *ends.values()], pressure)
    starts = np.broadcast_arrays(*first)
    grid = Conditions(
        *(np.concatenate([start, axis.ravel()]) for start, axis in zip(starts, mesh, strict=True))
    )
    inside = one.contains(grid) & other.contains(grid)
    inside[: 1 + len(ends)] = True
    return grid.select(inside), (QUOTED, *ends)


def _cold_and_hot(place: Conditions, one: Envelope, other: Envelope) -> dict[str, float]:
    """Return up to two temperatures away from that of `place`, by name. [degC]"""
    found = {}
    here = float(place.temperature_c[0])
    for end in well_tested_ends([one, other], place, 1, LEAST_TEMPERATURE_SPAN_K):
        there = replace(place, temperature_c=np.array([end]))
        tested = one.contains(there)[0] and other.contains(there)[0]
        if tested and abs(end - here) >= LEAST_TEMPERATURE_SPAN_K:
            found[COLD if end < here else HOT] = end
    return found
