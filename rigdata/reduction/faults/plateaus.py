"""Stretches in which a channel reads exactly one value for longer than chance lets it."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.reduction.stretches import Stretch, runs_of

# Chance that the noise of a whole log repeats itself for so long.
_CHANCE = 1e-9
_SAME = 1e-9  # of the span of the channel: equal but for rounding
_FEWEST_LEVELS = 16
_SHORT = 5  # repeats in a row that noise in coarse steps makes by itself


def plateaus(values: FloatArray) -> list[Stretch]:
    """Return the stretches in which a channel stays exactly constant against its habit.

    Parameters
    ----------
    values : (n,) array
        Readings as logged, NaN where missing.

    Notes
    -----
    A reading in coarse steps repeats itself now and then: with the share `p` of such
    repeats, `k` in a row come with probability ``n p^k``, and a plateau is longer than
    the `k` at which that falls below 1e-9.
    """
    known = values[np.isfinite(values)]
    if known.size < 2:
        return []
    span = float(np.ptp(known))
    if span == 0.0:
        return [Stretch(0, values.size)]
    if np.unique(known).size < _FEWEST_LEVELS:
        return []  # in steps so coarse that it mostly repeats itself
    same = np.abs(np.diff(values)) <= _SAME * span
    repeats = runs_of(same)
    short = sum(len(run) for run in repeats if len(run) <= _SHORT)
    long = sum(len(run) for run in repeats if len(run) > _SHORT)
    # One repeat more than was seen, so that a clean log is not taken for an endless one.
    share = (short + 1) / max(same.size - long, 1)
    if share >= 1.0:
        return []
    least = max(_SHORT + 1, math.ceil(math.log(_CHANCE / values.size) / math.log(share)))
    return [Stretch(run.start, run.stop + 1) for run in repeats if len(run) >= least]
