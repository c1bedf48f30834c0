"""The work on one run, as any process can do it: read, look for faults, reduce.

What comes back is small: numbers that other runs are compared with, the faults found,
and the result or the reason why there is none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

from rigdata.campaign.campaign import Pack, Run
from rigdata.campaign.rig import Rig
from rigdata.errors import RigdataError
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.drag import Drag, DragData
from rigdata.reduction.faults.fault import Action, Fault
from rigdata.reduction.faults.traits import Traits
from rigdata.reduction.run import (
    Examined,
    RunResult,
    examine_run,
    reduce_drag_run,
    reduce_run,
    reduce_zero_run,
)
from rigdata.reduction.zero import PackZero

Result = TypeVar("Result")


@dataclass(frozen=True, eq=False)
class Worked(Generic[Result]):
    """What the work on one run gave.

    Attributes
    ----------
    faults : tuple of Fault
        What was found in its log.
    traits : Traits
        What other runs are compared with.
    result : object
        What it gave; None where it is left out.
    reason : RigdataError or None
        Why it has no result, where that is not one of the faults.
    """

    faults: tuple[Fault, ...]
    traits: Traits
    result: Result | None
    reason: RigdataError | None


def work_zero_run(
    run: Run, pack: Pack, rig: Rig, cache: FramesCache | None
) -> Worked[tuple[RunResult, PackZero]]:
    """Read a zero run."""
    examined = examine_run(run, pack, rig, cache)
    return _worked(examined, lambda: reduce_zero_run(examined, pack, rig))


def work_drag_run(
    run: Run, pack: Pack, rig: Rig, zero: PackZero | None, cache: FramesCache | None
) -> Worked[tuple[RunResult, DragData]]:
    """Read a drag run."""
    examined = examine_run(run, pack, rig, cache)
    return _worked(examined, lambda: reduce_drag_run(examined, pack, rig, zero))


def work_run(
    run: Run,
    pack: Pack,
    rig: Rig,
    drag: Drag | None,
    zero: PackZero | None,
    cache: FramesCache | None,
) -> Worked[RunResult]:
    """Reduce a run to friction points."""
    examined = examine_run(run, pack, rig, cache)
    return _worked(examined, lambda: reduce_run(examined, pack, rig, drag, zero))


def _worked(examined: Examined, reduce: Callable[[], Result]) -> Worked[Result]:
    result: Result | None = None
    reason: RigdataError | None = None
    if not any(fault.action is Action.LEFT_OUT for fault in examined.faults):
        try:
            result = reduce()
        except RigdataError as fault:
            reason = fault
    return Worked(examined.faults, examined.traits, result, reason)
