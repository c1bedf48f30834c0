"""Which frames of a run make one friction point.

Each procedure has its own way of cutting a run into windows: steady holds are
cut in time, sweeps into bins of the swept quantity, up and down apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.stretches import (
    Stretch,
    binned,
    bridge,
    intersect,
    legs,
    smoothed,
    split_evenly,
    steady_stretches,
)

LOAD_BAND = 0.05
SPEED_BAND = 0.10
BIN_LN_SPEED = np.log(10.0) / 8  # eight bins a decade of slip speed
BIN_KELVIN = 5.0
LONGEST_S = 10.0
LEAST_S = 0.5
_CELL_S = 0.1
_SETTLE_S = 0.2


@dataclass(frozen=True, eq=False)
class Window:
    """The frames of one point to be, and the direction of their sweep."""

    frames: IntArray
    direction: str


def slipping(corrected: CorrectedRun) -> BoolArray:
    """(n,) where the pack is pressed and its plates slide on each other.

    A pack that sticks and slips counts as sliding throughout.
    """
    moving: BoolArray = corrected.pressed & (corrected.slip.speed > corrected.rest_speed)
    return moving


def held_load(corrected: CorrectedRun) -> list[Stretch]:
    """Stretches of slip at a steady load."""
    step = corrected.step_s
    inside = bridge(slipping(corrected), max(1, round(_CELL_S / step)))
    return steady_stretches(
        corrected.time_s,
        corrected.load.values,
        inside,
        relative=LOAD_BAND,
        cell_s=max(_CELL_S, step),
        least_s=LEAST_S,
        settle_s=_SETTLE_S,
    )


def held_speed(corrected: CorrectedRun) -> list[Stretch]:
    """Stretches of slip at a steady speed."""
    step = corrected.step_s
    inside = bridge(slipping(corrected), max(1, round(_CELL_S / step)))
    return steady_stretches(
        corrected.time_s,
        corrected.slip.speed,
        inside,
        relative=SPEED_BAND,
        cell_s=max(_CELL_S, step),
        least_s=LEAST_S,
        settle_s=_SETTLE_S,
    )


def speed_bins(corrected: CorrectedRun) -> list[Window]:
    """Bins in ln(slip speed) at each held load, rising and falling speed apart."""
    ln_speed = _ln_speed(corrected)
    windows = []
    for held in held_load(corrected):
        parts = legs(
            corrected.time_s,
            ln_speed,
            held,
            threshold=BIN_LN_SPEED,
            cell_s=max(_CELL_S, corrected.step_s),
        )
        for leg in parts:
            for _, frames in binned(ln_speed, leg, BIN_LN_SPEED):
                windows.append(_usable(corrected, frames, leg.direction))
    return windows


def temperature_bins(corrected: CorrectedRun) -> list[Window]:
    """Bins in plate temperature at held load and speed, warming and cooling apart."""
    step = corrected.step_s
    warmth = smoothed(corrected.temperature.values, _odd(1.0 / step))
    windows = []
    for held in intersect(held_speed(corrected), held_load(corrected)):
        for leg in legs(
            corrected.time_s, warmth, held, threshold=BIN_KELVIN, cell_s=max(1.0, step)
        ):
            for _, frames in binned(warmth, leg, BIN_KELVIN):
                windows.append(_usable(corrected, frames, leg.direction))
    return windows


def steady_windows(corrected: CorrectedRun) -> list[Window]:
    """Equal parts, of ten seconds at most, of each hold of load and speed."""
    return [
        _usable(corrected, np.arange(part.start, part.stop), "-")
        for held in intersect(held_speed(corrected), held_load(corrected))
        if corrected.time_s[held.stop - 1] - corrected.time_s[held.start] >= LEAST_S
        for part in split_evenly(corrected.time_s, held, LONGEST_S)
    ]


@dataclass(frozen=True)
class LoadSweep:
    """Legs of rising and falling load at one held slip speed."""

    legs: tuple[Stretch, ...]

    @property
    def both_ways(self) -> bool:
        """Whether the load was seen both rising and falling."""
        return {leg.direction for leg in self.legs} == {"up", "down"}

    @property
    def direction(self) -> str:
        """``up`` or ``down``; ``-`` for a sweep both ways."""
        return "-" if self.both_ways else self.legs[0].direction


def load_sweeps(corrected: CorrectedRun) -> list[LoadSweep]:
    """Find the load sweeps, one for each held speed."""
    ln_load = np.log(np.maximum(corrected.load.values, 1e-9))
    cell_s = max(_CELL_S, corrected.step_s)
    sweeps = []
    for held in held_speed(corrected):
        parts = legs(corrected.time_s, ln_load, held, threshold=0.1, cell_s=cell_s)
        moving = tuple(leg for leg in parts if leg.direction != "-")
        if moving:
            sweeps.append(LoadSweep(moving))
    return sweeps


WINDOWS: dict[str, Callable[[CorrectedRun], list[Window]]] = {
    "speed-sweep": speed_bins,
    "temperature-sweep": temperature_bins,
    "steady": steady_windows,
    "bedding": steady_windows,
    "stint": steady_windows,
}


def _usable(corrected: CorrectedRun, frames: IntArray, direction: str) -> Window:
    return Window(frames[corrected.usable[frames]], direction)


def _ln_speed(corrected: CorrectedRun) -> FloatArray:
    """Logarithm of the slip speed in m/s, smoothed a little so that noise does not sort."""
    step = corrected.step_s
    speed = smoothed(corrected.slip.speed, _odd(_CELL_S / step))
    ln_speed: FloatArray = np.log(np.maximum(speed * corrected.geometry.radius_m, 1e-9))
    return ln_speed


def _odd(count: float) -> int:
    return 2 * round(count / 2) + 1 if count >= 2 else 1
