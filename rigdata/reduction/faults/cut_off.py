"""Logs that end before their run does."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rigdata.reduction.faults.fault import EVERY_CHANNEL, Action, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.stretches import Stretch

_END_S = 0.2  # a channel shown late has no reading in the last frames
_FEWEST = 5
_LOADED = 0.2  # of the top load


def cut_off(sketch: Sketch) -> Iterator[Finding]:
    """Find a log whose last line is cut: what came after is not in it."""
    if not sketch.frames.cut_line or sketch.run.end_s is not None:
        return
    if ends_busy(sketch):
        how, why, sure = "at work", "the drift of the zero", Sureness.CERTAIN
    else:
        how, why, sure = "at rest", "whether more was to come", Sureness.LIKELY
    what = (
        f"its last line is cut, and it ends at {sketch.time[-1]:.4g} s with the bench {how}, so "
        f"that {why} is not known"
    )
    end = Stretch(sketch.time.size - 1, sketch.time.size)
    yield Finding(sketch.fault(Kind.CUT_OFF, EVERY_CHANNEL, end, sure, what, Action.KEPT))


def ends_busy(sketch: Sketch) -> bool:
    """Whether a log ends under load or in slip although it began idle."""
    if sketch.run.end_s is not None or not sketch.tared:
        return False
    end = slice(max(0, sketch.time.size - max(_FEWEST, sketch.frame_at(_END_S))), None)
    # A zero that drifted is no load.
    loaded = np.nan_to_num(np.abs(sketch.load[end])) > _LOADED * sketch.top_load
    busy = (sketch.pressed[end] & loaded) | sketch.moving[end]
    return bool(2 * np.count_nonzero(busy) > busy.size)
