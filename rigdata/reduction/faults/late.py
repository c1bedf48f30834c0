"""Load that shows later than the torque does, in one run and not in the others."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.faults.compared import Compared, fault_of
from rigdata.reduction.faults.fault import Action, Fault, Kind, Sureness
from rigdata.reduction.faults.traits import LAGS_S, Traits, middle, others

_CLEAR = 8.0  # spreads of the other runs
_ALIKE = 0.25  # of the two ripples, for their delay to be read
_ABOVE = 4.0  # standard deviations of chance likeness over that at the usual delay
_LEAST_S = 0.12
_SAME_S, _SAME = 0.15, 0.3  # by which load on and load off may be late by different times
_FEWEST = 2
_MOVES = ("load-sweep",)  # procedures whose coefficients a lag falsifies


def load_lag(campaign: Compared) -> Iterator[Fault]:
    """Find runs in which the load shows later than in the others.

    Either the ripple of the clamp, which the torque follows at once, shows in the load
    later than in the other runs; or load on comes as much later before the first slip,
    and load off after the last, than in other runs of the same procedure.
    """
    usual = _usual_lag(campaign)
    for one in campaign.traits:
        found = _by_ripple(one, usual) or _by_ends(campaign, one)
        if found:
            sure, evidence = found
            action = Action.LEFT_OUT if one.procedure in _MOVES else Action.KEPT
            yield fault_of(one, Kind.LOAD_LAG, "clamp_load", sure, evidence, action)


def _usual_lag(campaign: Compared) -> tuple[float, float, int]:
    lags = [
        float(LAGS_S[np.argmax(run.likeness)])
        for run in campaign.traits
        if run.likeness.size and run.likeness.max() > _ALIKE and run.procedure != "drag"
    ]
    return middle(lags)


def _by_ripple(one: Traits, usual: tuple[float, float, int]) -> tuple[Sureness, str] | None:
    centre, spread, count = usual
    if count <= _FEWEST or one.likeness.size == 0 or one.procedure == "drag":
        return None
    best = int(np.argmax(one.likeness))
    lag, height = float(LAGS_S[best]), float(one.likeness[best])
    if abs(lag - centre) <= max(_CLEAR * spread, 2.5 / one.rate_hz, _LEAST_S) or height < _ALIKE:
        return None
    there = float(np.interp(centre, LAGS_S, one.likeness))
    chance = _chance(one.likeness, best)
    if height - there < _ABOVE * chance:
        return None
    evidence = (
        f"its ripple is {height:.2f} alike to that of the torque {lag:.2f} s before, and "
        f"{there:.2f} at {centre:.2f} s as in {count - 1} other runs"
    )
    sure = Sureness.CERTAIN if height - there > 1.5 * _ABOVE * chance else Sureness.LIKELY
    return sure, evidence


def _chance(likeness: FloatArray, best: int) -> float:
    """Spread of the likeness away from its peak, where only chance makes it."""
    far = np.abs(LAGS_S - LAGS_S[best]) > 1.0
    return max(float(likeness[far].std()), 0.02)


def _by_ends(campaign: Compared, one: Traits) -> tuple[Sureness, str] | None:
    like = [run for run in others(campaign.traits, one) if run.procedure == one.procedure]
    lead, lead_spread, count = middle(run.lead_s for run in like)
    trail, trail_spread, _ = middle(run.trail_s for run in like)
    early, late = lead - one.lead_s, one.trail_s - trail
    if count < _FEWEST or one.busy_end or not math.isfinite(early + late):
        return None
    least = max(_CLEAR * max(lead_spread, trail_spread), 3.0 / one.rate_hz, _LEAST_S)
    apart = max(_SAME_S, 2.0 / one.rate_hz, _SAME * max(early, late))
    if min(early, late) <= least or abs(early - late) > apart:
        return None
    evidence = (
        f"load on shows {early:.2f} s and load off {late:.2f} s later about the slip than in "
        f"{count} other {one.procedure} runs"
    )
    return Sureness.LIKELY, evidence
