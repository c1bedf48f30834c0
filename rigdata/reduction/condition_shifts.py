"""How the sources move the stated condition of a point, not only its coefficient."""

from __future__ import annotations

from collections.abc import Mapping

from rigdata.arrays import IntArray
from rigdata.calibration.signals import Signal
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.reading import scaling
from rigdata.uncertainty.sources import Source

Shift = tuple[float, float, float]


def condition_shifts(
    corrected: CorrectedRun, frames: IntArray, *, slips: bool = True
) -> Mapping[Source, Shift]:
    """Return the change of slip speed, temperature and pressure for each source.

    Parameters
    ----------
    corrected : CorrectedRun
    frames : (k,) int array
        The frames of the point.
    slips : bool
        False for a point at standstill, whose slip speed is 0 and no reading.

    Returns
    -------
    mapping of Source to (float, float, float)
        For one standard deviation: relative change of slip speed, change of
        temperature [K], relative change of pressure.

    Notes
    -----
    ``v = w r_e`` moves with the speed reading and the radii, ``p = F / A`` with
    the load and the radii; so a source of the load or a radius moves the
    pressure along with mu.
    """
    shifts: dict[Source, list[float]] = {}

    def add(source: Source, axis: int, value: float) -> None:
        if value:
            shifts.setdefault(source, [0.0, 0.0, 0.0])[axis] += value

    for axis, signal, relative in (
        (0, corrected.speed, True),
        (1, corrected.temperature, False),
        (2, corrected.load, True),
    ):
        if signal is corrected.speed and not slips:
            continue
        for source, value in _mean_shifts(signal, frames, relative).items():
            add(scaling(source) if signal is corrected.load else source, axis, value)
    geometry = corrected.geometry
    for source, radius, area in zip(
        geometry.sources, geometry.relative, geometry.relative_area, strict=True
    ):
        add(source, 0, float(radius) if slips else 0.0)
        add(source, 2, -float(area))
    return {source: (s[0], s[1], s[2]) for source, s in shifts.items()}


def _mean_shifts(signal: Signal, frames: IntArray, relative: bool) -> dict[Source, float]:
    rows = signal.sensitivity[:, frames].mean(axis=1)
    if relative:
        rows = rows / float(signal.values[frames].mean())
    return dict(zip(signal.sources, rows.tolist(), strict=True))
