"""One run from its log to its friction points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.calibration.channels import to_signals
from rigdata.calibration.signals import Signals
from rigdata.campaign.campaign import Pack, Run
from rigdata.campaign.rig import Rig
from rigdata.errors import LogError, Notice, ReductionError, Severity
from rigdata.logs.frames import ColumnRequest, Frames, read_frames
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.alignment import Ripple, ripple_of
from rigdata.reduction.breakaway import breakaway_drafts
from rigdata.reduction.corrections import CorrectedRun, correct
from rigdata.reduction.drafts import Draft, to_points
from rigdata.reduction.drag import Drag, DragData
from rigdata.reduction.drag_cells import drag_data
from rigdata.reduction.faults.fault import Fault
from rigdata.reduction.faults.registry import find_in_run
from rigdata.reduction.faults.sketch import Sketch, sketch
from rigdata.reduction.faults.traits import Traits, traits_of
from rigdata.reduction.load_slope import load_slope_drafts
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.preconditions import check_run
from rigdata.reduction.ratio import ratio_drafts
from rigdata.reduction.reading import Reading
from rigdata.reduction.sliding import Sliding, sliding_of
from rigdata.reduction.trace import Trace, trace_of
from rigdata.reduction.windows import WINDOWS, load_sweeps, steady_windows
from rigdata.reduction.zero import PackZero

BREAKAWAY_FRAME_S = 1e-3


@dataclass(frozen=True, eq=False)
class RunResult:
    """What one run gave.

    Attributes
    ----------
    points : FrictionPoints or None
        None for zero and drag runs.
    readings : tuple of Reading
        What each point was read from, in their order.
    ripple : Ripple or None
        What the run says of the delay between load and torque.
    sliding : Sliding or None
        The work of its pack; None for zero and drag runs.
    flagged : Mapping[str, Mapping[str, int]]
        Samples flagged, by channel and by the flag's words.
    sample_s : float
        Time between samples. [s]
    log_sha256 : str
        Hash of the log as read.
    """

    run: str
    points: FrictionPoints | None
    readings: tuple[Reading, ...]
    trace: Trace
    notices: tuple[Notice, ...]
    ripple: Ripple | None
    sliding: Sliding | None
    flagged: Mapping[str, Mapping[str, int]]
    n_rows: int
    sample_s: float
    log_sha256: str


@dataclass(frozen=True, eq=False)
class Examined:
    """A log that was read and looked through for faults.

    Attributes
    ----------
    sketch : Sketch
        The run without the frames that faults spoil.
    faults : tuple of Fault
        What was found in it.
    traits : Traits
        What other runs are compared with.
    """

    sketch: Sketch
    faults: tuple[Fault, ...]
    traits: Traits

    @property
    def signals(self) -> Signals:
        """The channels without the frames that faults spoil."""
        return self.sketch.signals


def read_log_frames(run: Run, rig: Rig, cache: FramesCache | None = None) -> Frames:
    """Read the log of one run into frames, from `cache` where it was read before.

    Raises
    ------
    LogError
        When the log cannot be read.
    """
    if not run.log.is_file():
        raise LogError(
            "the log is missing", where=str(run.log), do="Put it there, or drop the run."
        )
    columns = {
        name: ColumnRequest(
            column=channel.column,
            low=channel.range[0] if channel.range else None,
            high=channel.range[1] if channel.range else None,
            may_stick=name not in ("torque", "clamp_load", "cylinder_pressure"),
            spread=name == "torque",
        )
        for name, channel in rig.channels.items()
        if channel.column is not None
    }
    read = read_frames if cache is None else cache.frames
    return read(
        run.log,
        rig.log,
        columns,
        frame_s=BREAKAWAY_FRAME_S if run.procedure == "breakaway" else None,
        start_s=run.start_s,
        end_s=run.end_s,
    )


def read_signals(run: Run, rig: Rig, cache: FramesCache | None = None) -> Signals:
    """Read the log of one run into SI channels, whatever is wrong with it."""
    return to_signals(read_log_frames(run, rig, cache), rig, run=run.id, date=run.date)


def examine_run(run: Run, pack: Pack, rig: Rig, cache: FramesCache | None = None) -> Examined:
    """Read the log of one run and look for faults of the bench in it.

    Raises
    ------
    LogError, CalibrationError
        When the log or a record cannot be used.
    """
    findings, sketched = find_in_run(sketch(read_log_frames(run, rig, cache), run, pack, rig))
    return Examined(sketched, tuple(finding.fault for finding in findings), traits_of(sketched))


def reduce_zero_run(examined: Examined, pack: Pack, rig: Rig) -> tuple[RunResult, PackZero]:
    """Read the zeros of torque and load over a whole run without load and slip."""
    run, signals = examined.sketch.run, examined.signals
    corrected = correct(signals, run, pack, rig, None, None)
    if corrected.zeros is None:
        raise ReductionError("no zero could be read", where=f"run {run.id}")
    return _result(signals, corrected, None), corrected.zeros


def reduce_drag_run(
    examined: Examined, pack: Pack, rig: Rig, pack_zero: PackZero | None
) -> tuple[RunResult, DragData]:
    """Read the drag torque of a run with slip and without load."""
    run, signals = examined.sketch.run, examined.signals
    corrected = correct(signals, run, pack, rig, None, pack_zero)
    return _result(signals, corrected, None), drag_data(corrected)


def reduce_run(
    examined: Examined,
    pack: Pack,
    rig: Rig,
    drag: Drag | None,
    pack_zero: PackZero | None,
) -> RunResult:
    """Reduce one run to friction points.

    Raises
    ------
    RigdataError
        With the reason why the run must be left out.
    """
    run, signals = examined.sketch.run, examined.signals
    corrected = correct(signals, run, pack, rig, drag, pack_zero)
    check_run(corrected)
    drafts, notices = _drafts(corrected)
    if not drafts:
        raise ReductionError(
            "no window is steady enough for a friction point",
            where=f"run {run.id}",
            expected=f"what a {run.procedure} run holds or sweeps",
            do="Look at the trace: is the procedure named rightly?",
        )
    points = to_points(corrected, drafts)
    if run.procedure == "bedding":
        points = points.not_used(np.ones(len(points), dtype=np.bool_), "bedding-in")
    readings = tuple(draft.reading for draft in drafts)
    return _result(signals, corrected, points, readings, notices)


def read_sliding(
    run: Run,
    pack: Pack,
    rig: Rig,
    drag: Drag | None,
    pack_zero: PackZero | None,
    cache: FramesCache | None = None,
) -> Sliding:
    """Return the sliding in a log that gives no friction points, or not as a whole.

    Raises
    ------
    RigdataError
        When the log cannot be read.
    """
    return sliding_of(correct(read_signals(run, rig, cache), run, pack, rig, drag, pack_zero))


def trace_as_read(run: Run, pack: Pack, rig: Rig, cache: FramesCache | None = None) -> Trace:
    """Return the course of a run that could not be reduced, with no drag taken off.

    Raises
    ------
    RigdataError
        When its log cannot be read.
    """
    return trace_of(correct(read_signals(run, rig, cache), run, pack, rig, None, None), None)


def _result(
    signals: Signals,
    corrected: CorrectedRun,
    points: FrictionPoints | None,
    readings: tuple[Reading, ...] = (),
    notices: Sequence[Notice] = (),
) -> RunResult:
    return RunResult(
        run=corrected.run.id,
        points=points,
        readings=readings,
        trace=trace_of(corrected, points),
        notices=(*signals.notices, *corrected.notices, *notices),
        ripple=ripple_of(corrected) if points is not None else None,
        sliding=sliding_of(corrected) if points is not None else None,
        flagged={
            channel: {str(getattr(flag, "name", flag)).lower(): n for flag, n in counts.items()}
            for channel, counts in signals.counts.items()
        },
        n_rows=signals.n_rows,
        sample_s=signals.sample_s,
        log_sha256=signals.sha256,
    )


def _drafts(corrected: CorrectedRun) -> tuple[list[Draft], list[Notice]]:
    procedure = corrected.run.procedure
    if procedure == "breakaway":
        return breakaway_drafts(corrected), []
    if procedure == "load-sweep":
        drafts, notices = load_slope_drafts(corrected, load_sweeps(corrected))
        if drafts:
            return drafts, notices
        fallback = Notice(
            Severity.WARNING,
            f"run {corrected.run.id}",
            "the load does not span two to one at a held slip speed, so no slope is taken; "
            "steady windows are used instead",
            "Sweep the load over a wider range.",
        )
        return ratio_drafts(corrected, steady_windows(corrected)), [fallback]
    return ratio_drafts(corrected, WINDOWS[procedure](corrected)), []
