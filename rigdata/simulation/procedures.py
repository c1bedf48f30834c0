"""What the bench is told to do: one command profile for each procedure.

Every profile begins and ends unloaded at standstill.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from rigdata.arrays import FloatArray, frozen

# Time at rest at both ends, and the time in which load and speed come on. [s]
REST_S = 4.0
_ONSET_S = 1.5


@dataclass(frozen=True, eq=False)
class Profile:
    """Commands over one run.

    Attributes
    ----------
    procedure : str
        Name of the procedure.
    rate_hz : float
        Sampling rate. [Hz]
    load_n : (n,) array
        Clamp load. [N]
    speed_m_s : (n,) array
        Slip speed at the nominal effective radius; for a compliant run the
        speed of the drive's own end. [m/s]
    oil_c : (n,) array
        Oil temperature. [degC]
    compliant : bool
        Whether the pack is turned through a soft drive line (breakaway).
    """

    procedure: str
    rate_hz: float
    load_n: FloatArray
    speed_m_s: FloatArray
    oil_c: FloatArray
    compliant: bool = False

    @property
    def step_s(self) -> float:
        """Sampling interval. [s]"""
        return 1.0 / self.rate_hz

    @property
    def time_s(self) -> FloatArray:
        """Time of each sample. [s]"""
        return np.arange(self.load_n.size) / self.rate_hz


Knot = tuple[float, float, float, float]  # seconds to get there, load, speed, oil


def profile(procedure: str, knots: Sequence[Knot], rate_hz: float) -> Profile:
    """Join knots by straight lines, between two rests at the ends.

    Parameters
    ----------
    procedure : str
        Name of the procedure.
    knots : sequence of (seconds, load_n, speed_m_s, oil_c)
        Where the commands go, each so many seconds after the one before; the
        last one must be unloaded and still.
    rate_hz : float
        Sampling rate. [Hz]
    """
    rows = [(REST_S, 0.0, 0.0, knots[0][3]), *knots, (REST_S, 0.0, 0.0, knots[-1][3])]
    when = np.cumsum([row[0] for row in rows])
    time = np.arange(round(float(when[-1]) * rate_hz) + 1) / rate_hz
    load, speed, oil = (np.interp(time, when, [row[k] for row in rows]) for k in (1, 2, 3))
    return Profile(procedure, rate_hz, frozen(load), frozen(speed), frozen(oil))


def zero(*, oil_c: float, seconds: float = 10.0, rate_hz: float = 50.0) -> Profile:
    """Nothing at all, for the zero."""
    return profile("zero", [(max(seconds - 2.0 * REST_S, 0.1), 0.0, 0.0, oil_c)], rate_hz)


def drag(
    *,
    cold_c: float,
    hot_c: float,
    top_m_s: float,
    stairs: int = 8,
    hold_s: float = 4.0,
    heating_s: float = 20.0,
    rate_hz: float = 50.0,
) -> Profile:
    """Unloaded, the speed up in stairs with cold oil and down with hot oil."""
    # Stairs close up towards low speed, where the drag bends most.
    speeds = [top_m_s * (stair / stairs) ** 2 for stair in range(1, stairs + 1)]
    knots: list[Knot] = [(0.0, 0.0, 0.0, cold_c)]
    for speed in speeds:
        knots += [(0.5, 0.0, speed, cold_c), (hold_s, 0.0, speed, cold_c)]
    knots.append((heating_s, 0.0, top_m_s, hot_c))
    for speed in reversed(speeds):
        knots += [(0.5, 0.0, speed, hot_c), (hold_s, 0.0, speed, hot_c)]
    knots.append((0.5, 0.0, 0.0, hot_c))
    return profile("drag", knots, rate_hz)


def bedding(
    *,
    load_n: float,
    speed_m_s: float,
    oil_c: float,
    engagements: int = 20,
    slip_s: float = 3.0,
    pause_s: float = 2.0,
    rate_hz: float = 50.0,
) -> Profile:
    """One engagement after another at moderate load."""
    knots: list[Knot] = [(_ONSET_S, load_n, 0.0, oil_c)]
    for _ in range(engagements):
        knots += [
            (0.5, load_n, speed_m_s, oil_c),
            (slip_s, load_n, speed_m_s, oil_c),
            (0.5, load_n, 0.0, oil_c),
            (pause_s, load_n, 0.0, oil_c),
        ]
    knots.append((_ONSET_S, 0.0, 0.0, oil_c))
    return profile("bedding", knots, rate_hz)


def speed_sweep(
    *,
    load_n: float,
    oil_c: float,
    low_m_s: float = 0.002,
    top_m_s: float = 1.5,
    way_s: float = 24.0,
    rate_hz: float = 100.0,
) -> Profile:
    """Constant load, the slip speed up and back on an exponential ramp."""
    knots: list[Knot] = [
        (_ONSET_S, load_n, 0.0, oil_c),
        (0.5, load_n, 1.0, oil_c),
        (way_s, load_n, 2.0, oil_c),
        (way_s, load_n, 1.0, oil_c),
        (0.5, load_n, 0.0, oil_c),
        (_ONSET_S, 0.0, 0.0, oil_c),
    ]
    steps = profile("speed-sweep", knots, rate_hz)
    # The knots above 1 stand for the way from the low to the top speed.
    way = np.clip(steps.speed_m_s - 1.0, 0.0, 1.0)
    sweep = np.minimum(steps.speed_m_s, 1.0) * low_m_s * (top_m_s / low_m_s) ** way
    return replace(steps, speed_m_s=frozen(sweep))


def load_sweep(
    *,
    low_n: float,
    top_n: float,
    speed_m_s: float,
    oil_c: float,
    way_s: float = 20.0,
    rate_hz: float = 50.0,
) -> Profile:
    """Constant slip speed, the load up and back on a straight ramp."""
    knots: list[Knot] = [
        (_ONSET_S, low_n, 0.0, oil_c),
        (0.5, low_n, speed_m_s, oil_c),
        (2.0, low_n, speed_m_s, oil_c),
        (way_s, top_n, speed_m_s, oil_c),
        (way_s, low_n, speed_m_s, oil_c),
        (2.0, low_n, speed_m_s, oil_c),
        (0.5, low_n, 0.0, oil_c),
        (_ONSET_S, 0.0, 0.0, oil_c),
    ]
    return profile("load-sweep", knots, rate_hz)


def temperature_sweep(
    *,
    load_n: float,
    speed_m_s: float,
    cold_c: float = 30.0,
    hot_c: float = 150.0,
    heating_s: float = 240.0,
    rate_hz: float = 50.0,
) -> Profile:
    """Constant load and slip speed while the oil is heated."""
    knots: list[Knot] = [
        (_ONSET_S, load_n, 0.0, cold_c),
        (0.5, load_n, speed_m_s, cold_c),
        (12.0, load_n, speed_m_s, cold_c),
        (heating_s, load_n, speed_m_s, hot_c),
        (6.0, load_n, speed_m_s, hot_c),
        (0.5, load_n, 0.0, hot_c),
        (_ONSET_S, 0.0, 0.0, hot_c),
    ]
    return profile("temperature-sweep", knots, rate_hz)


def steady(
    *, load_n: float, speed_m_s: float, oil_c: float, seconds: float = 40.0, rate_hz: float = 50.0
) -> Profile:
    """Load, slip speed and oil temperature held."""
    knots: list[Knot] = [
        (_ONSET_S, load_n, 0.0, oil_c),
        (0.5, load_n, speed_m_s, oil_c),
        (seconds, load_n, speed_m_s, oil_c),
        (0.5, load_n, 0.0, oil_c),
        (_ONSET_S, 0.0, 0.0, oil_c),
    ]
    return profile("steady", knots, rate_hz)


def breakaway(
    *,
    load_n: float,
    oil_c: float,
    dwells_s: Sequence[float] = (3.0, 8.0, 20.0),
    drive_m_s: float = 0.010,
    turn_s: float = 3.0,
    rate_hz: float = 500.0,
) -> Profile:
    """Dwell under load, then wind up a soft drive until the pack slips; repeated."""
    knots: list[Knot] = [(0.0, 0.0, 0.0, oil_c)]
    for dwell in dwells_s:
        knots += [
            (0.5, load_n, 0.0, oil_c),
            (dwell, load_n, 0.0, oil_c),
            (0.1, load_n, drive_m_s, oil_c),
            (turn_s, load_n, drive_m_s, oil_c),
            (0.1, load_n, 0.0, oil_c),
            (0.5, 0.0, 0.0, oil_c),
            (1.0, 0.0, 0.0, oil_c),
        ]
    return replace(profile("breakaway", knots, rate_hz), compliant=True)


def stint(
    *,
    loads_n: Sequence[float],
    speeds_m_s: Sequence[float],
    oil_c: float,
    burst_s: float = 5.0,
    pause_s: float = 2.0,
    rounds: int = 2,
    rate_hz: float = 50.0,
) -> Profile:
    """A duty of slip bursts at changing load and speed, so that the plates heat up."""
    bursts = list(zip(loads_n, speeds_m_s, strict=True)) * rounds
    knots: list[Knot] = [(_ONSET_S, bursts[0][0], 0.0, oil_c)]
    for (load, speed), (following, _) in pairwise([*bursts, bursts[-1]]):
        knots += [
            (0.3, load, speed, oil_c),
            (burst_s, load, speed, oil_c),
            (0.3, load, 0.0, oil_c),
            (pause_s, following, 0.0, oil_c),
        ]
    knots.append((_ONSET_S, 0.0, 0.0, oil_c))
    return profile("stint", knots, rate_hz)
