"""A thinned record of one run, for the eye."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.points import FrictionPoints

MOST_SAMPLES = 2000


@dataclass(frozen=True)
class TraceWindow:
    """Where one friction point lies in the run. [s]"""

    point: str
    start_s: float
    end_s: float
    used: bool


@dataclass(frozen=True, eq=False)
class Trace:
    """One run as measured and as corrected, at most `MOST_SAMPLES` long.

    Attributes
    ----------
    time_s : (n,) float
        Time. [s]
    torque_raw_nm, torque_nm : (n,) float
        Torque less its zero, and friction torque after all corrections. [N m]
    clamp_load_n : (n,) float
        Mean load on the faces. [N]
    slip_speed_rad_s : (n,) float
        Slip speed. [rad/s]
    plate_temperature_c : (n,) float
        Plate temperature. [degC]
    """

    run: str
    procedure: str
    pack: str
    time_s: FloatArray
    torque_raw_nm: FloatArray
    torque_nm: FloatArray
    clamp_load_n: FloatArray
    slip_speed_rad_s: FloatArray
    plate_temperature_c: FloatArray
    windows: tuple[TraceWindow, ...]


def trace_of(corrected: CorrectedRun, points: FrictionPoints | None) -> Trace:
    """Thin a corrected run by averaging neighbouring frames, and mark its windows."""
    count = corrected.time_s.size
    starts = np.unique(np.linspace(0, count, MOST_SAMPLES, endpoint=False).astype(np.int64))
    lengths = np.diff(np.concatenate((starts, [count])))

    def thin(values: FloatArray) -> FloatArray:
        return frozen(np.add.reduceat(values, starts) / lengths)

    return Trace(
        run=corrected.run.id,
        procedure=corrected.run.procedure,
        pack=corrected.pack.name,
        time_s=thin(corrected.time_s),
        torque_raw_nm=thin(corrected.tared_torque),
        torque_nm=thin(corrected.torque.values),
        clamp_load_n=thin(corrected.load.values),
        slip_speed_rad_s=thin(corrected.speed.values),
        plate_temperature_c=thin(corrected.temperature.values),
        windows=_windows(points) if points is not None else (),
    )


def _windows(points: FrictionPoints) -> tuple[TraceWindow, ...]:
    columns: Sequence[Sequence[object]] = (
        points.point.tolist(),
        points.start_s.tolist(),
        points.end_s.tolist(),
        points.used.tolist(),
    )
    return tuple(
        TraceWindow(str(name), float(str(start)), float(str(end)), bool(used))
        for name, start, end, used in zip(*columns, strict=True)
    )
