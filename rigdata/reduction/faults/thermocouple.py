"""A plate thermocouple that is open, shorted, or connected the wrong way round."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.logs.flags import Flag
from rigdata.reduction.faults.fault import Action, Finding, Kind, Sureness
from rigdata.reduction.faults.sketch import Sketch
from rigdata.reduction.stretches import Stretch, bridge, runs_of

_PLATE, _OIL, _JUNCTION = (
    "plate_temperature",
    "oil_temperature",
    "reference_junction_temperature",
)
_LEAST_S = 0.5
_FEWEST = 4
_APART_K = 12.0  # of oil and junction, for a plate at either to be told apart
_AT_JUNCTION = 0.12  # of the way from junction to oil: plates in oil are no colder
_TURNED = -0.5  # of that way


def thermocouple(sketch: Sketch) -> Iterator[Finding]:
    """Find a plate thermocouple that is open or reversed.

    Plates lie in the oil and are heated by friction: they are not colder than the oil
    but for a moment.  A couple without voltage shows its own reference junction, and
    one turned round shows as far below the junction as the plates lie above it.
    """
    key = sketch.logged(_PLATE)
    if key is None:
        return
    way = _way(sketch)
    if way is not None:
        known = way[np.isfinite(way)]
        if known.size >= _FEWEST and float(np.median(known)) < _TURNED:
            yield _reversed(sketch, float(np.median(known)))
            return
    parts = _parts(sketch, _lost(sketch, key))
    how = "no reading in its range"
    if way is not None and (cold := _parts(sketch, np.nan_to_num(way, nan=1.0) < _AT_JUNCTION)):
        how = how if parts else "it reads no more than the reference junction, in hotter oil"
        parts += cold
    if parts:
        yield _open(sketch, key, parts, how)


def _way(sketch: Sketch) -> FloatArray | None:
    """(n,) where the plate lies on the way from the junction (0) to the oil (1)."""
    if not all(name in sketch.signals.channels for name in (_PLATE, _OIL, _JUNCTION)):
        return None
    channel = sketch.rig.channels[_PLATE]
    if channel.thermocouple is None:
        return None
    plate, oil, junction = (sketch.channel(name) for name in (_PLATE, _OIL, _JUNCTION))
    apart = oil - junction
    # The oil may be hotter than the plates by the lag of either, not by this.
    usable = np.abs(apart) > _APART_K
    way: FloatArray = np.divide(
        plate - junction, apart, out=np.full(plate.size, np.nan), where=usable
    )
    return way


def _lost(sketch: Sketch, key: str) -> BoolArray:
    """Where there is no reading, beyond a lost sample, the ends of the log left out."""
    signal = sketch.signals.channels[_PLATE]
    flags = sketch.frames.flags[key]
    known = np.isfinite(sketch.frames.values[key])
    left_out = known & (flags & (Flag.GAP | Flag.MISSING).value > 0)
    lost: BoolArray = ~signal.good & ~left_out
    return lost


def _parts(sketch: Sketch, mask: BoolArray) -> list[Stretch]:
    least = max(_FEWEST, sketch.frame_at(_LEAST_S))
    return [part for part in runs_of(bridge(mask, 2)) if len(part) >= least]


def _reversed(sketch: Sketch, way: float) -> Finding:
    return Finding(
        sketch.fault(
            Kind.REVERSED_THERMOCOUPLE,
            _PLATE,
            None,
            Sureness.CERTAIN,
            f"the plates read {-way:.2f} times as far below the reference junction as the oil "
            "lies above it",
            Action.LEFT_OUT,
        )
    )


def _open(sketch: Sketch, key: str, parts: list[Stretch], how: str) -> Finding:
    mask = np.zeros(sketch.time.size, np.bool_)
    for part in parts:
        mask[part.frames] = True
    mask = sketch.near(mask, 2.0)
    at = np.flatnonzero(mask)
    span = Stretch(int(at[0]), int(at[-1]) + 1)
    left = bool((~mask & sketch.moving & sketch.pressed).any())
    begin, end = sketch.time[at[0]], sketch.time[at[-1]]
    fault = sketch.fault(
        Kind.OPEN_THERMOCOUPLE,
        _PLATE,
        span,
        Sureness.CERTAIN,
        f"{how} from {begin:.4g} s to {end:.4g} s",
        Action.FRAMES if left else Action.LEFT_OUT,
    )
    return Finding(fault, {key: mask})
