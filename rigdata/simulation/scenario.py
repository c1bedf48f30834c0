"""An invented bench, its two plate materials and its standard test programme."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from rigdata.simulation import procedures
from rigdata.simulation.procedures import Profile
from rigdata.simulation.spec import DutyDesign, PackDesign, RunDesign
from rigdata.simulation.truth import LogCurve, Material, StribeckCurve

ROUGH = Material(
    name="rough-on-steel",
    friction_plate="rough-faced plate, sprayed coating on steel",
    mating_plate="plain steel plate, ground",
    note="trial plates",
    curve=LogCurve(level=0.145, rise=0.0035, speed_m_s=0.1),
    temperature_per_k=-5e-4,
    pressure_exponent=-0.03,
    static_level=0.142,
    ageing=0.006,
    bedding_start=-0.10,
    bedding_work_j_mm2=1.0,
    wear_loss=0.12,
    wear_hours=110.0,
    friction_wear_mm3_nm=2.1e-7,
    mating_wear_mm3_nm=9.8e-7,
    service={
        "friction_wear_limit_mm": 0.05,
        "mating_wear_limit_mm": 0.05,
        "least_mu": 0.12,
        "friction_density_kg_m3": 7850.0,
        "mating_density_kg_m3": 7850.0,
    },
)

STEEL = Material(
    name="steel-on-steel",
    friction_plate="plain steel plate, nitrided",
    mating_plate="plain steel plate, ground",
    note="plates in use so far",
    curve=StribeckCurve(kinetic=0.088, low_speed=0.108, speed_m_s=0.15, shape=0.8, slope_s_m=0.002),
    temperature_per_k=-9e-4,
    pressure_exponent=-0.02,
    static_level=0.118,
    ageing=0.008,
    bedding_start=0.07,
    bedding_work_j_mm2=0.6,
    wear_loss=0.06,
    wear_hours=90.0,
    friction_wear_mm3_nm=2.4e-7,
    mating_wear_mm3_nm=4.4e-7,
    service={
        "friction_wear_limit_mm": 0.05,
        "mating_wear_limit_mm": 0.05,
        "least_mu": 0.085,
        "friction_density_kg_m3": 7850.0,
        "mating_density_kg_m3": 7850.0,
    },
)

STAGES = DutyDesign(
    "special-stages", sliding_power_w=400.0, clamp_load_n=6000.0, note="hours on the stages alone"
)
TRACK_DAYS = DutyDesign(
    "track-days", sliding_power_w=260.0, clamp_load_n=5000.0, hours_per_year=19.0
)

OIL: dict[str, str | float] = {
    "name": "gear oil 75W-140",
    "kinematic_viscosity_40c_mm2_s": 172.0,
    "kinematic_viscosity_100c_mm2_s": 24.5,
    "density_15c_kg_m3": 868.0,
}


@dataclass(frozen=True)
class Pace:
    """How long the procedures take and how fast they are sampled.

    Attributes
    ----------
    sweep_hz, drag_hz, duty_hz, slow_hz, breakaway_hz : float
        Sampling rates of sweeps in speed and load, of zero and drag, of bedding
        and stint, of the temperature sweep, and of breakaways. [Hz]
    sweep_s : float
        One way of a speed or load sweep. [s]
    heating_s : float
        Time in which the oil is heated. [s]
    engagements : int
        Bedding engagements.
    dwells_s : tuple of float
        Dwell of each breakaway. [s]
    turn_s : float
        Time in which the drive turns at each breakaway. [s]
    stair_s : float
        Time on each stair of a drag run. [s]
    rounds : int
        Rounds of a stint.
    """

    sweep_hz: float
    drag_hz: float
    duty_hz: float
    slow_hz: float
    breakaway_hz: float
    sweep_s: float
    heating_s: float
    engagements: int
    dwells_s: tuple[float, ...]
    turn_s: float
    stair_s: float
    rounds: int


LONG = Pace(
    sweep_hz=100.0,
    drag_hz=50.0,
    duty_hz=50.0,
    slow_hz=20.0,
    breakaway_hz=500.0,
    sweep_s=24.0,
    heating_s=240.0,
    engagements=24,
    dwells_s=(3.0, 8.0, 20.0),
    turn_s=3.0,
    stair_s=5.0,
    rounds=3,
)
SHORT = Pace(
    sweep_hz=20.0,
    drag_hz=10.0,
    duty_hz=10.0,
    slow_hz=5.0,
    breakaway_hz=200.0,
    sweep_s=20.0,
    heating_s=120.0,
    engagements=18,
    dwells_s=(0.5, 1.5, 5.0),
    turn_s=2.2,
    stair_s=3.0,
    rounds=2,
)


def standard_profile(name: str, pack: PackDesign, pace: Pace) -> Profile:
    """Return the profile of one test of the standard programme.

    Parameters
    ----------
    name : str
        Which test; one of the keys in the programme of `standard_runs`.
    pack : PackDesign
        The pack, from which face pressures become clamp loads.
    pace : Pace
        How long and how fast.
    """
    match name:
        case "zero":
            return procedures.zero(oil_c=60.0, rate_hz=pace.drag_hz)
        case "drag":
            return procedures.drag(
                cold_c=30.0,
                hot_c=150.0,
                top_m_s=1.6,
                hold_s=pace.stair_s,
                rate_hz=pace.drag_hz,
            )
        case "bedding":
            return procedures.bedding(
                load_n=pack.load_n(1.5),
                speed_m_s=0.5,
                oil_c=70.0,
                engagements=pace.engagements,
                rate_hz=pace.duty_hz,
            )
        case "sweep-light" | "sweep-middle" | "sweep-heavy":
            pressure, oil_c, top_m_s = {
                "sweep-light": (0.8, 50.0, 1.5),
                "sweep-middle": (1.5, 85.0, 1.2),
                "sweep-heavy": (3.0, 105.0, 0.8),
            }[name]
            return procedures.speed_sweep(
                load_n=pack.load_n(pressure),
                oil_c=oil_c,
                top_m_s=top_m_s,
                way_s=pace.sweep_s,
                rate_hz=pace.sweep_hz,
            )
        case "load":
            return procedures.load_sweep(
                low_n=pack.load_n(0.6),
                top_n=pack.load_n(4.2),
                speed_m_s=0.1,
                oil_c=80.0,
                way_s=pace.sweep_s,
                rate_hz=pace.sweep_hz,
            )
        case "temperature":
            return procedures.temperature_sweep(
                load_n=pack.load_n(1.5),
                speed_m_s=0.1,
                heating_s=pace.heating_s,
                rate_hz=pace.slow_hz,
            )
        case "steady":
            return procedures.steady(
                load_n=pack.load_n(1.5), speed_m_s=0.1, oil_c=82.0, rate_hz=pace.sweep_hz
            )
        case "breakaway" | "breakaway-cold" | "breakaway-heavy":
            pressure, oil_c = {
                "breakaway": (1.5, 90.0),
                "breakaway-cold": (1.5, 40.0),
                "breakaway-heavy": (3.0, 90.0),
            }[name]
            return procedures.breakaway(
                load_n=pack.load_n(pressure),
                oil_c=oil_c,
                dwells_s=pace.dwells_s,
                turn_s=pace.turn_s,
                rate_hz=pace.breakaway_hz,
            )
        case "stint":
            return procedures.stint(
                loads_n=[pack.load_n(p) for p in (1.5, 2.5, 1.0)],
                speeds_m_s=(0.5, 0.3, 0.8),
                oil_c=100.0,
                rounds=pace.rounds,
                rate_hz=pace.duty_hz,
            )
        case _:
            raise KeyError(name)


def standard_runs(
    packs: tuple[PackDesign, ...],
    tests: dict[str, tuple[str, ...]],
    pace: Pace,
    first_day: datetime.date | None = None,
) -> tuple[RunDesign, ...]:
    """Number the tests of all packs, a pack after another and a day each.

    Parameters
    ----------
    packs : tuple of PackDesign
        The packs in the order they are mounted.
    tests : dict of str to tuple of str
        Names of the tests of each pack, in their order.
    pace : Pace
        How long and how fast.
    first_day : datetime.date, optional
        Day of the first pack; None leaves the runs without dates.
    """
    runs: list[RunDesign] = []
    for day, pack in enumerate(packs):
        date = first_day + datetime.timedelta(days=day) if first_day else None
        for name in tests[pack.name]:
            profile = standard_profile(name, pack, pace)
            runs.append(RunDesign(f"R{len(runs) + 1:03d}", pack.name, profile, date))
    return tuple(runs)
