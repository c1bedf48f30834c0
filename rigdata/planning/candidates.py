"""The tests that a pack can be given, and the friction points that each will give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.campaign.campaign import Reference
from rigdata.friction.conditions import Conditions
from rigdata.planning.description import Minutes, Region

# Points that the reduction gives: bins of a sweep up and back, and the quartiles of a load
# sweep.  Counted on logs of the virtual rig.
SWEEP_POINTS, WARM_POINTS = 44, 24
_QUARTILES = (0.25, 0.75)  # of ln load, where a load sweep gives its points
_DWELLS = 3
_SAME = 1e-6  # relative, of two levels

Range = tuple[float, float]
NOWHERE = Conditions(np.empty(0), np.empty(0), np.empty(0))


@dataclass(frozen=True, eq=False)
class PlannedTest:
    """One run as the bench is told to make it.

    Attributes
    ----------
    procedure : str
        As in campaign.toml.
    slip_speeds_m_s, temperatures_c, pressures_mpa : (low, high)
        Ranges; both ends alike where the value is held, and 0 at rest or unloaded.
    minutes : float
        What it takes, going to its temperature included. [min]
    points : Conditions
        Where its kinetic points will lie; none for zero, drag, bedding and breakaway.
    dwells_s : tuple of float
        Times at rest of a breakaway run. [s]
    """

    procedure: str
    slip_speeds_m_s: Range
    temperatures_c: Range
    pressures_mpa: Range
    minutes: float
    points: Conditions = NOWHERE
    dwells_s: tuple[float, ...] = ()

    @property
    def setting(self) -> str:
        """What to set, in words with units."""
        speed = f"{span(self.slip_speeds_m_s)} m/s" if any(self.slip_speeds_m_s) else "at rest"
        load = f"{span(self.pressures_mpa)} MPa" if any(self.pressures_mpa) else "unloaded"
        if self.dwells_s:
            speed = "after " + ", ".join(f"{dwell:g}" for dwell in self.dwells_s) + " s at rest"
        return f"{speed}, {span(self.temperatures_c)} degC, {load}"


def span(ends: Range) -> str:
    """Return a range in words, one number where both ends are alike."""
    low, high = ends
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def levels(ends: Range, middle: float) -> tuple[float, ...]:
    """Return the low end, the reference and the high end of a range, less what is alike."""
    apart = [end for end in ends if abs(end - middle) > _SAME * max(abs(middle), 1.0)]
    return tuple(sorted([*apart, middle]))


def candidates(region: Region, reference: Reference, minutes: Minutes) -> tuple[PlannedTest, ...]:
    """Return the tests to choose from.

    Speed sweeps at every pressure and temperature, load sweeps at every temperature and
    temperature sweeps at every pressure, each of these at the low end, the reference and the
    high end of its range: what carries a law lies at the ends, and the reference shows bends.
    """
    temperatures = levels(region.temperatures_c, reference.temperature_c)
    pressures = levels(region.pressures_mpa, reference.pressure_mpa)
    sweeps = [speed_sweep(region, t, p, minutes) for t in temperatures for p in pressures]
    loads = [load_sweep(region, reference.slip_speed_m_s, t, minutes) for t in temperatures]
    warm = [temperature_sweep(region, reference.slip_speed_m_s, p, minutes) for p in pressures]
    return (
        *sweeps,
        *(loads if len(pressures) > 1 else []),
        *(warm if len(temperatures) > 1 else []),
    )


def speed_sweep(
    region: Region, temperature_c: float, pressure_mpa: float, minutes: Minutes
) -> PlannedTest:
    """Return a speed sweep over the whole range, up and back."""
    low, high = region.slip_speeds_m_s
    way = np.geomspace(low, high, SWEEP_POINTS // 2)
    speeds = np.concatenate([way, way[::-1]])
    return PlannedTest(
        "speed-sweep",
        (low, high),
        (temperature_c, temperature_c),
        (pressure_mpa, pressure_mpa),
        minutes.settle + minutes.speed_sweep,
        Conditions(speeds, temperature_c, pressure_mpa),
    )


def load_sweep(
    region: Region, speed_m_s: float, temperature_c: float, minutes: Minutes
) -> PlannedTest:
    """Return a load sweep over the whole range of pressures, up and back."""
    low, high = region.pressures_mpa
    pressures = np.exp(np.quantile(np.log([low, high]), _QUARTILES))
    return PlannedTest(
        "load-sweep",
        (speed_m_s, speed_m_s),
        (temperature_c, temperature_c),
        (low, high),
        minutes.settle + minutes.load_sweep,
        Conditions(speed_m_s, temperature_c, pressures),
    )


def temperature_sweep(
    region: Region, speed_m_s: float, pressure_mpa: float, minutes: Minutes
) -> PlannedTest:
    """Return a sweep over the whole range of temperatures, oil heated."""
    low, high = region.temperatures_c
    return PlannedTest(
        "temperature-sweep",
        (speed_m_s, speed_m_s),
        (low, high),
        (pressure_mpa, pressure_mpa),
        minutes.settle + minutes.temperature_sweep,
        Conditions(speed_m_s, np.linspace(low, high, WARM_POINTS), pressure_mpa),
    )


def breakaway(region: Region, reference: Reference, minutes: Minutes) -> PlannedTest | None:
    """Return breakaways at the reference after short to long dwells; None where not wanted."""
    if region.dwells_s is None:
        return None
    return PlannedTest(
        "breakaway",
        (0.0, 0.0),
        (reference.temperature_c, reference.temperature_c),
        (reference.pressure_mpa, reference.pressure_mpa),
        minutes.settle + minutes.breakaway,
        dwells_s=tuple(float(f"{d:.2g}") for d in np.geomspace(*region.dwells_s, _DWELLS)),
    )


def basis(
    region: Region, reference: Reference, minutes: Minutes, *, bedding: bool
) -> list[PlannedTest]:
    """Return what every pack begins with: zero, drag, and bedding-in where it is new."""
    rest, held = (0.0, 0.0), (reference.temperature_c, reference.temperature_c)
    tests = [
        PlannedTest("zero", rest, held, rest, minutes.zero),
        PlannedTest(
            "drag", (0.0, region.slip_speeds_m_s[1]), region.temperatures_c, rest, minutes.drag
        ),
    ]
    if bedding:
        speed = float(f"{np.sqrt(reference.slip_speed_m_s * region.slip_speeds_m_s[1]):.2g}")
        load = (reference.pressure_mpa, reference.pressure_mpa)
        tests.append(PlannedTest("bedding", (speed, speed), held, load, minutes.bedding))
    return tests
