"""Times that jump, stand still or start again."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rigdata.logs.flags import Flag
from rigdata.reduction.faults.fault import EVERY_CHANNEL, Action, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.stretches import Stretch

_ABOUT_S = 0.3  # either side of a jump, over which corrections look


def clock(sketch: Sketch) -> Iterator[Finding]:
    """Find a clock that jumps ahead, jumps back, or repeats a time."""
    time = sketch.time
    told = []
    spoilt = np.zeros(time.size, np.bool_)
    ahead = np.flatnonzero(np.bitwise_or.reduce(list(sketch.frames.flags.values())) & Flag.GAP)
    ahead = ahead[ahead > 0]
    lost = sketch.frames.not_rising_s
    if lost.size:
        resumed = int(np.searchsorted(time, lost.max(), side="right"))
        spoilt[max(0, resumed - 1) : resumed + 1] = True
        rows = f"{lost.size} rows are left out"
        low, high = float(lost.min()), float(lost.max())
        if high - low < 0.5 * sketch.signals.sample_s:
            told.append(f"it stands still at {low:.4g} s and {rows}")
        else:
            restart = low <= time[0] + sketch.signals.sample_s
            back = "starts again at" if restart else "jumps back to"
            told.append(f"it {back} {low:.4g} s and {rows}")
    if ahead.size:
        widest = ahead[np.argmax(time[ahead] - time[ahead - 1])]
        size = time[widest] - time[widest - 1]
        spoilt[ahead] = spoilt[ahead - 1] = True
        more = f" and {ahead.size - 1} times more" if ahead.size > 1 else ""
        told.append(f"it jumps {size:.3g} s ahead at {time[widest - 1]:.4g} s{more}")
    if not told:
        return
    at = np.flatnonzero(spoilt)
    span = Stretch(int(at[0]), int(at[-1]) + 1) if at.size else Stretch(time.size - 1, time.size)
    sure = Sureness.CERTAIN if lost.size else Sureness.LIKELY
    evidence = ", and ".join(told)
    if not lost.size:
        evidence += ", or the logger paused"
    fault = sketch.fault(Kind.CLOCK, EVERY_CHANNEL, span, sure, evidence, Action.FRAMES)
    yield Finding(fault, {EVERY_CHANNEL: sketch.near(spoilt, _ABOUT_S)})
