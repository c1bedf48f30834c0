"""What plates go through while they slip: heat, fade and the lock that is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import integrate

from rigdata.arrays import FloatArray
from rigdata.errors import TableError
from rigdata.lockup.description import LockPack
from rigdata.lockup.torque import DRIVE, Lock, lock_torque
from rigdata.tables.table import CoefficientTable

_RTOL = 1e-6


@dataclass(frozen=True, eq=False)
class SlipEvent:
    """A slip event in steps of time.

    Attributes
    ----------
    time_s : (m,) float
        From its start. [s]
    lock : Lock
        Lock torque, temperature and all else at these times.
    power_w, work_kj : (m,) float
        Friction power, and the work done so far, of both sides together. [W, kJ]
    ended_s : float or None
        When the plates left what was tested, and the event was cut off; None where they did not.
        [s]
    """

    time_s: FloatArray
    lock: Lock
    power_w: FloatArray
    work_kj: FloatArray
    ended_s: float | None


def slip_event(
    pack: LockPack,
    table: CoefficientTable,
    input_torque_nm: float,
    speed_difference_rad_s: float,
    temperature_c: float,
    duration_s: float,
    *,
    side: str = DRIVE,
    cooling_w_k: float = 0.0,
    steps: int = 61,
) -> SlipEvent:
    """Let the plates slip at one speed and input torque.

    Parameters
    ----------
    pack : LockPack
        With the mass of its plates.
    table : CoefficientTable
        Of kinetic friction.
    input_torque_nm, speed_difference_rad_s : float
        Held through the event. [N m, rad/s]
    temperature_c : float
        Of plates and oil at the start. [degC]
    duration_s : float
        [s]
    side : str
        ``drive`` or ``coast``.
    cooling_w_k : float
        Heat that goes off for each kelvin above the start; without it all heat stays in
        the plates, which is right for a few seconds. [W/K]
    steps : int
        Times at which the event is told.

    Raises
    ------
    TableError
        When the pack has no mass, or the start lies outside what was tested.

    Notes
    -----
    Energy balance of plates at one temperature,
    ``m c dtheta/dt = dT(theta) d_omega / 2 - k (theta - theta_0)``: the plates of each
    side slip at half the difference of the outputs, with ``dT / 2`` each.
    """
    plates = pack.plates
    if plates.mass_kg is None:
        raise TableError(
            "the heat of a slip event needs the mass of the plates",
            where=f"pack {pack.name}",
            expected="mass_kg in [plates], of both sides together",
            do="Weigh them",
        )

    def at(temperature: FloatArray, *, outside: bool = True) -> Lock:
        return lock_torque(
            pack,
            table,
            input_torque_nm,
            temperature,
            speed_difference_rad_s=speed_difference_rad_s,
            side=side,
            outside=outside,
        )

    at(np.array([temperature_c]), outside=False)
    capacity = plates.mass_kg * plates.specific_heat_j_kg_k
    half_speed = 0.5 * abs(speed_difference_rad_s)

    def rates(_time: float, state: FloatArray) -> list[float]:
        power = float(at(state[:1]).lock_nm[0]) * half_speed
        return [(power - cooling_w_k * (state[0] - temperature_c)) / capacity, power]

    def left_tests(_time: float, state: FloatArray) -> float:
        return 0.5 if at(state[:1]).tested[0] else -0.5

    left_tests.terminal = True  # type: ignore[attr-defined]
    found = integrate.solve_ivp(
        rates,
        (0.0, duration_s),
        [temperature_c, 0.0],
        t_eval=np.linspace(0.0, duration_s, steps),
        events=left_tests,
        rtol=_RTOL,
    )
    time, (temperature, work) = found.t, found.y
    ended = None
    if found.t_events[0].size:
        ended = float(found.t_events[0][0])
        last = found.y_events[0][0]
        time, temperature, work = (
            np.append(part, end)
            for part, end in zip((time, temperature, work), (ended, *last), strict=True)
        )
    lock = at(temperature)
    return SlipEvent(time, lock, lock.lock_nm * half_speed, work / 1e3, ended)
