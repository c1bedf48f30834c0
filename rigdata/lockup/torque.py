"""Lock torque of a clutch pack from a coefficient table, with its interval.

All packs of a differential are pressed by the same axial force F.  The outputs then
differ by ``dT = mu F sum(N_i r_i)``, whichever of them is the faster.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.errors import TableError
from rigdata.lockup.description import LockPack
from rigdata.reduction.load_path import face_load_factor
from rigdata.tables.table import CoefficientTable, Reading
from rigdata.uncertainty.degrees import coverage_factor

DRIVE, COAST = "drive", "coast"
Z = float(coverage_factor(math.inf))  # 95 % of a normal distribution, both sides
_TURNS, _STILL = 30, 1e-12
_ARRAYS = (
    "input_torque_nm",
    "speed_difference_rad_s",
    "temperature_c",
    "axial_force_n",
    "pressure_mpa",
    "mu",
    "lock_nm",
    "u_nm",
    "low_nm",
    "high_nm",
    "next_low_nm",
    "next_high_nm",
    "moved_nm",
)


@dataclass(frozen=True, eq=False)
class Lock:
    """What a pack locks with at m operating points.

    Attributes
    ----------
    side : str
        ``drive`` or ``coast``.
    input_torque_nm : (m,) float
        Torque into the case. [N m]
    speed_difference_rad_s : (m,) float
        Between the two outputs. [rad/s]
    temperature_c : (m,) float
        Of the plates. [degC]
    axial_force_n, pressure_mpa : (m,) float
        Force of springs and ramps, and mean pressure of a face. [N, MPa]
    mu : (m,) float
        Friction coefficient there; NaN, as all that follows, outside what was tested.
    lock_nm, u_nm : (m,) float
        Lock torque and its standard uncertainty. [N m]
    low_nm, high_nm : (m,) float
        95 % interval for the mean of such packs. [N m]
    next_low_nm, next_high_nm : (m,) float
        For one more pack; NaN where only one pack was tested. [N m]
    causes : tuple of k str
        What moves the lock torque at all points together: the components of the table,
        and the inputs of the pack that are uncertain.
    moved_nm : (k, m) float
        By how much, for one standard deviation of each. [N m]
    tested : (m,) bool
        Whether the friction was tested there.
    table : CoefficientTable
        Where the friction is from.
    """

    side: str
    input_torque_nm: FloatArray
    speed_difference_rad_s: FloatArray
    temperature_c: FloatArray
    axial_force_n: FloatArray
    pressure_mpa: FloatArray
    mu: FloatArray
    lock_nm: FloatArray
    u_nm: FloatArray
    low_nm: FloatArray
    high_nm: FloatArray
    next_low_nm: FloatArray
    next_high_nm: FloatArray
    causes: tuple[str, ...]
    moved_nm: FloatArray
    tested: BoolArray
    table: CoefficientTable = field(repr=False)

    def __post_init__(self) -> None:
        for name in _ARRAYS:
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "tested", frozen(self.tested, np.bool_))

    @property
    def fraction(self) -> FloatArray:
        """(m,) ``dT / T_in``, 1 where it locks solid; NaN without input torque."""
        share = self.lock_nm / np.where(self.input_torque_nm > 0.0, self.input_torque_nm, np.nan)
        return np.minimum(share, 1.0)

    @property
    def bias_ratio(self) -> FloatArray:
        """(m,) ``(T_in + dT) / (T_in - dT)``, infinite where it locks solid."""
        less = np.where(self.solid, 1.0, self.input_torque_nm - self.lock_nm)
        ratio: FloatArray = (self.input_torque_nm + self.lock_nm) / less
        return np.where(self.solid, np.inf, ratio)

    @property
    def outputs_nm(self) -> FloatArray:
        """(2, m) torque of the slower and of the faster output; NaN where it locks solid. [N m]

        ``(T_in + dT) / 2`` and ``(T_in - dT) / 2``.
        """
        halves = 0.5 * np.stack(
            [self.input_torque_nm + self.lock_nm, self.input_torque_nm - self.lock_nm]
        )
        known: FloatArray = np.where(self.solid, np.nan, halves)
        return known

    @property
    def solid(self) -> BoolArray:
        """(m,) whether the lock torque reaches the input torque: both outputs turn as one."""
        solid: BoolArray = self.lock_nm >= self.input_torque_nm
        return solid


def slip_speed(pack: LockPack, speed_difference_rad_s: ArrayLike) -> FloatArray:
    """Slip speed of the plates: half the difference of the outputs times the radius. [m/s]"""
    difference = np.asarray(speed_difference_rad_s, dtype=np.float64)
    half: FloatArray = 0.5 * np.abs(difference) * pack.radius_m
    return half


def speed_difference(pack: LockPack, slip_speed_m_s: float) -> float:
    """Difference between the outputs at which the plates slip at `slip_speed_m_s`. [rad/s]"""
    return 2.0 * slip_speed_m_s / pack.radius_m


def axial_force(pack: LockPack, input_torque_nm: ArrayLike, side: str) -> FloatArray:
    """Force that presses the plates: preload and what the ramps add. [N]

    ``F = F_preload + T_in cot(theta + phi) / (n_rings r_ramp)``.
    """
    torque = np.asarray(input_torque_nm, dtype=np.float64)
    force: FloatArray = pack.preload.force_n + pack.ramp_gain(side) * np.abs(torque)
    return force


def lock_torque(
    pack: LockPack,
    table: CoefficientTable,
    input_torque_nm: ArrayLike,
    temperature_c: ArrayLike,
    *,
    speed_difference_rad_s: ArrayLike | None = None,
    side: str = DRIVE,
    outside: bool = False,
) -> Lock:
    """Work out the lock torque.

    Parameters
    ----------
    pack : LockPack
    table : CoefficientTable
        Of kinetic friction, or of breakaway, whose slip speed is 0.
    input_torque_nm, temperature_c, speed_difference_rad_s : array_like
        Operating points; they broadcast together.  The difference in speed is that of the
        table's reference by default. [N m, degC, rad/s]
    side : str
        ``drive`` or ``coast``: which ramps work.
    outside : bool
        Take the nearest friction that was tested where these conditions were not.

    Raises
    ------
    TableError
        When none of the points was tested, and `outside` is false.

    Notes
    -----
    The friction depends on the face pressure, and with spline friction the pressure on
    the friction; both are found by turns.  The interval is that of the friction, whose
    half width is scaled to the torque, and that of preload and ramp friction, in
    quadrature; their uncertainties act through the force and the pressure.
    """
    if speed_difference_rad_s is None:
        speed_difference_rad_s = speed_difference(pack, table.reference[0])
    given = (input_torque_nm, temperature_c, speed_difference_rad_s)
    torque, temperature, difference = (
        part.ravel() for part in np.broadcast_arrays(*(np.atleast_1d(g) for g in given))
    )

    def found(one: LockPack) -> tuple[FloatArray, FloatArray, FloatArray, Reading]:
        force = axial_force(one, torque, side)
        return _friction(one, table, force, slip_speed(one, difference), temperature)

    pressure, mean, lock, reading = found(pack)
    tested = ~reading.moved
    if not (outside or tested.any()):
        raise TableError(
            reading.notices[0].what.split(";")[0] if reading.notices else "nothing was tested",
            where=str(table),
            expected="an operating point that was tested",
            do="Test there, or ask for the nearest friction that was tested",
        )
    inputs = {name: found(changed)[2] - lock for name, changed in _changes(pack).items()}
    own = np.sqrt(sum((moved**2 for moved in inputs.values()), np.zeros(torque.size)))
    known = tested | outside
    blank = np.where(known, 1.0, np.nan)

    def end(friction: FloatArray, sign: float) -> FloatArray:
        half = np.hypot(lock * np.abs(friction - mean) / mean, Z * own)
        return blank * (lock + sign * half)

    return Lock(
        side=side,
        input_torque_nm=torque,
        speed_difference_rad_s=difference,
        temperature_c=temperature,
        axial_force_n=axial_force(pack, torque, side),
        pressure_mpa=pressure,
        mu=blank * mean,
        lock_nm=blank * lock,
        u_nm=blank * np.hypot(lock * reading.u_mu / mean, own),
        low_nm=end(reading.mean_low, -1.0),
        high_nm=end(reading.mean_high, 1.0),
        next_low_nm=end(reading.next_pack_low, -1.0),
        next_high_nm=end(reading.next_pack_high, 1.0),
        causes=(*reading.causes, *inputs),
        moved_nm=np.stack([*(reading.components * lock / mean), *inputs.values()])
        if reading.causes or inputs
        else np.zeros((0, lock.size)),
        tested=tested,
        table=table,
    )


def _friction(
    pack: LockPack,
    table: CoefficientTable,
    force: FloatArray,
    speed: FloatArray,
    temperature: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, Reading]:
    """Return mean face pressure, coefficient, lock torque and the reading, under a force."""
    plates, factor = pack.plates, np.ones(force.size)
    at_rest = table.kind == "static"
    for _ in range(_TURNS):
        pressure = force * factor / pack.area_m2 * 1e-6
        place = (np.zeros_like(speed) if at_rest else speed, temperature, pressure)
        reading = table.mu(*place, outside="nearest")
        if plates.spline_friction is None or plates.spline_radius_mm is None:
            break
        before = factor
        factor = face_load_factor(
            reading.mu,
            plates.spline_friction,
            pack.radius_m,
            plates.spline_radius_mm * 1e-3,
            pack.faces,
        )
        if np.all(np.abs(factor - before) <= _STILL):
            break
    return pressure, reading.mu, reading.mu * force * factor * pack.arm_m, reading


def _changes(pack: LockPack) -> dict[str, LockPack]:
    """Return the pack with one standard deviation more of each uncertain input."""
    ramps, preload = pack.ramps, pack.preload
    changed = {}
    if preload.u_n > 0.0:
        more = replace(preload, force_n=preload.force_n + preload.u_n)
        changed[f"preload of {pack.name}"] = replace(pack, preload=more)
    if ramps.friction_u > 0.0:
        rougher = replace(ramps, friction=ramps.friction + ramps.friction_u)
        changed[f"ramp friction of {pack.name}"] = replace(pack, ramps=rougher)
    return changed
