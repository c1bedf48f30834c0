"""Every kind of fault that is looked for: a new one is a module and a line here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from rigdata.reduction.faults.clock import clock
from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.cut_off import cut_off
from rigdata.reduction.faults.dead_cell import dead_cells
from rigdata.reduction.faults.fault import Action, Fault, Finding, Kind
from rigdata.reduction.faults.hum import hum, teeth
from rigdata.reduction.faults.late import load_lag
from rigdata.reduction.faults.pickup import speed_dropouts
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.faults.swapped import swapped, turned_round, wrong_sign
from rigdata.reduction.faults.thermocouple import thermocouple
from rigdata.reduction.faults.units import odd_levels, units
from rigdata.reduction.faults.unlike import (
    busy_end,
    loud_idle,
    no_slip,
    odd_course,
    restless,
    swapped_zeros,
    zero_drift,
)
from rigdata.reduction.faults.warmth import warmth_units

# From one run alone.  What stands first is told first.
IN_RUN: tuple[Callable[[Sketch], Iterator[Finding]], ...] = (
    clock,
    cut_off,
    dead_cells,
    swapped,
    wrong_sign,
    warmth_units,
    thermocouple,
    speed_dropouts,
    hum,
    teeth,
)

# From all runs side by side.
BETWEEN: tuple[Callable[[Compared], Iterator[Fault]], ...] = (
    swapped_zeros,
    units,
    busy_end,
    load_lag,
    no_slip,
    zero_drift,
    loud_idle,
    odd_course,
    restless,
    odd_levels,  # last: where nothing else fits
)


def find_in_run(sketch: Sketch) -> tuple[tuple[Finding, ...], Sketch]:
    """Return what one run shows by itself, and the run without what that spoils.

    A run that must be left out is not looked at any further: what is wrong with it
    would show as one fault after another.
    """
    found: list[Finding] = []
    for look in IN_RUN:
        new = list(look(sketch))
        found += new
        for finding in new:
            sketch = sketch.without(finding.spoilt) if finding.spoilt else sketch
        if any(finding.fault.action is Action.LEFT_OUT for finding in new):
            break
    return tuple(found), sketch


def find_between(campaign: Compared) -> tuple[Fault, ...]:
    """Return what only the comparison of runs shows.

    A run that is left out is not spoken of again.
    """
    gone = {f.run for f in campaign.faults if f.action is Action.LEFT_OUT}
    found: list[Fault] = []
    for look in BETWEEN:
        new = [fault for fault in look(campaign) if fault.run not in gone]
        found += new
        campaign = replace(campaign, faults=(*campaign.faults, *new))
        gone |= {fault.run for fault in new if fault.action is Action.LEFT_OUT}
    return tuple(found)


def settled(campaign: Compared) -> Sequence[Fault]:
    """Return the faults of single runs in the light of the others."""
    return [
        turned_round(fault, campaign) if fault.kind is Kind.SIGN else fault
        for fault in campaign.faults
    ]
