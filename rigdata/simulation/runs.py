"""One run of one pack on the bench, before any sensor sees it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.simulation.bench import OilDrag, Servo, spin_up_torque
from rigdata.simulation.drive import CompliantDrive, SlipTable
from rigdata.simulation.noise import ar1
from rigdata.simulation.plates import Annulus, Splines
from rigdata.simulation.procedures import Profile
from rigdata.simulation.thermal import PlateLump
from rigdata.simulation.truth import Material

_MPA = 1e6
# Below this slip speed a driven pack is taken to stand still. [rad/s]
_STILL_RAD_S = 2e-3
_TABLE_RAD_S = np.geomspace(1e-3, 60.0, 400)
_TABLE_REFERENCE = 100


@dataclass(frozen=True)
class Bench:
    """The bench as it really is.

    Attributes
    ----------
    inertia_kg_m2 : float
        Rotating inertia between the torque cell and the plates. [kg*m^2]
    drag : OilDrag
        Torque of the unloaded pack.
    thermal : PlateLump
        Heat balance of the plates.
    servo : Servo
        How commands are followed.
    stiffness_nm_rad, damping_nm_s_rad : float
        The soft drive line of breakaway runs. [N*m/rad, N*m*s/rad]
    flutter : float
        Relative standard deviation of the friction torque about its mean.
    flutter_s : float
        Correlation time of that. [s]
    line_stiffness_nm_rad, line_damping_nm_s_rad : float
        The drive line of all other runs.  Where its stiffness is finite the pack at
        its end sticks and slips wherever its friction falls with speed by more than
        the line damps; on a stiff one nothing swings.  [N*m/rad, N*m*s/rad]
    """

    inertia_kg_m2: float = 0.12
    drag: OilDrag = field(default_factory=OilDrag)
    thermal: PlateLump = field(default_factory=PlateLump)
    servo: Servo = field(default_factory=Servo)
    stiffness_nm_rad: float = 2500.0
    damping_nm_s_rad: float = 45.0
    flutter: float = 0.004
    flutter_s: float = 0.3
    line_stiffness_nm_rad: float = math.inf
    line_damping_nm_s_rad: float = 0.0


@dataclass(frozen=True)
class MountedPack:
    """A pack on the bench, as it is when the run begins.

    Attributes
    ----------
    plates : Annulus
        True geometry.
    nominal_radius_m : float
        Effective radius by which the bench turns slip speeds into revolutions. [m]
    material : Material
        Its law.
    factor : float
        Its coefficient in this run relative to the bedded mean of its material.
    work_j_mm2 : float
        Sliding work that each face has done so far. [J/mm^2]
    splines : Splines or None
        What holds back part of the clamp load; None for nothing.
    """

    plates: Annulus
    nominal_radius_m: float
    material: Material
    factor: float = 1.0
    work_j_mm2: float = 0.0
    splines: Splines | None = None


@dataclass(frozen=True, eq=False)
class TrueRun:
    """What happened in one run; every array is (n,).

    Attributes
    ----------
    step_s : float
        Sampling interval. [s]
    load_n : array
        Clamp load. [N]
    speed_rad_s : array
        Slip speed. [rad/s]
    friction_nm : array
        Friction torque. [N*m]
    line_nm : array
        Torque in the shaft where the cell sits: friction, drag and inertia. [N*m]
    plate_c, oil_c : array
        Plate and oil temperature. [degC]
    work_j_mm2 : array
        Sliding work of each face, from the pack's beginning. [J/mm^2]
    """

    step_s: float
    load_n: FloatArray
    speed_rad_s: FloatArray
    friction_nm: FloatArray
    line_nm: FloatArray
    plate_c: FloatArray
    oil_c: FloatArray
    work_j_mm2: FloatArray


def run_on_bench(
    bench: Bench, pack: MountedPack, commands: Profile, rng: np.random.Generator
) -> TrueRun:
    """Carry out one run.

    Parameters
    ----------
    bench : Bench
        The bench.
    pack : MountedPack
        The pack.
    commands : Profile
        What the bench is told to do.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    TrueRun
        What happened.

    Notes
    -----
    Friction depends on temperature and on sliding work, and both depend on
    friction.  The dependence is weak, so the two are solved in turn until the
    temperature stands still.

    Behind a soft line the steady slip so found is only where the pack would like to
    be.  With the inertia J at the end of a line of stiffness k and damping c,
    ``J dw/dt = k q + c (W - w) - T_drag - T(w)`` and ``dq/dt = W - w`` at drive speed
    W, it is unstable where ``c + dT/dw < 0``: swings of about ``sqrt(k / J)`` grow until
    the pack stands still for a part of each (self-excited vibration by friction;
    J. P. Den Hartog, Mechanical Vibrations, from memory).
    """
    step = commands.step_s
    load = bench.servo.load(commands.load_n, rng, step)
    oil = bench.servo.oil(commands.oil_c, rng, step)
    shake = 1.0 + ar1(rng, load.size, sd=bench.flutter, correlation_s=bench.flutter_s, step_s=step)
    if commands.compliant:
        drive = CompliantDrive(bench.stiffness_nm_rad, bench.damping_nm_s_rad, bench.inertia_kg_m2)
        turning = commands.speed_m_s / pack.nominal_radius_m
        # Slip is so slow that the plates stay at the oil's temperature until it is over.
        state = _state_factor(pack, oil, np.full_like(load, pack.work_j_mm2))
        return _softly(bench, drive, pack, turning, load, oil, state, shake, step)
    speed = bench.servo.speed(commands.speed_m_s / pack.nominal_radius_m, rng, step)
    cold = _cold_torque(pack, load, speed) * shake * np.tanh(speed / _STILL_RAD_S)
    friction, plate, work = cold, oil, np.full_like(load, pack.work_j_mm2)
    for _ in range(20):
        friction = cold * _state_factor(pack, plate, work)
        power = friction * speed
        before = plate
        plate = bench.thermal.temperature(power, oil, step_s=step, start_c=float(oil[0]))
        work = _work(pack, power, step)
        if float(np.max(np.abs(plate - before))) < 1e-4:
            break
    if np.isfinite(bench.line_stiffness_nm_rad) and np.any(load > 0.0):
        drive = CompliantDrive(
            bench.line_stiffness_nm_rad, bench.line_damping_nm_s_rad, bench.inertia_kg_m2
        )
        state = _state_factor(pack, plate, work)
        return _softly(bench, drive, pack, speed, load, oil, state, shake, step)
    drag = bench.drag.torque(speed, oil)
    inertia = spin_up_torque(speed, inertia_kg_m2=bench.inertia_kg_m2, step_s=step)
    return TrueRun(step, load, speed, friction, friction + drag + inertia, plate, oil, work)


def _softly(
    bench: Bench,
    drive: CompliantDrive,
    pack: MountedPack,
    turning: FloatArray,
    load: FloatArray,
    oil: FloatArray,
    state: FloatArray,
    shake: FloatArray,
    step: float,
) -> TrueRun:
    """Carry out a run in which the pack may stick and slip at the end of a soft drive line.

    Its drive turns at `turning` [rad/s]; `state` is how its friction differs from that
    of a bedded pack at its material's own temperature, and `shake` how its kinetic
    friction flutters about that, moment by moment.
    """
    material = pack.material
    creep = float(_TABLE_RAD_S[_TABLE_REFERENCE])
    level = _cold_torque(pack, load, np.full_like(load, creep)) * state
    table = _cold_torque(pack, np.full_like(_TABLE_RAD_S, load.max()), _TABLE_RAD_S)
    creep_mu = float(material.curve.at(creep * pack.plates.mean_radius_m))
    drag = bench.drag.torque(turning, oil)
    slip = SlipTable(
        log_low=float(np.log(_TABLE_RAD_S[0])),
        step=float(np.log(_TABLE_RAD_S[1] / _TABLE_RAD_S[0])),
        shape=tuple(float(part) for part in table / table[_TABLE_REFERENCE]),
    )
    line, speed = drive.turn(
        turning,
        level * shake,
        level * material.static_level / creep_mu,
        drag,
        slip,
        ageing=material.ageing,
        step_s=step,
    )
    inertia = spin_up_torque(speed, inertia_kg_m2=drive.inertia_kg_m2, step_s=step)
    friction = np.where(speed > 0.0, line - drag - inertia, line)
    power = friction * speed
    plate = bench.thermal.temperature(power, oil, step_s=step, start_c=float(oil[0]))
    return TrueRun(step, load, speed, friction, line, plate, oil, _work(pack, power, step))


def _cold_torque(pack: MountedPack, load_n: FloatArray, speed_rad_s: FloatArray) -> FloatArray:
    """Friction torque of a bedded pack at its material's own temperature. [N*m]"""
    material = pack.material

    def coefficient(speed_m_s: FloatArray, pressure_pa: FloatArray) -> FloatArray:
        pressed = material.pressure_factor(pressure_pa / _MPA)
        return np.asarray(pack.factor * material.curve.at(speed_m_s) * pressed)

    plates = pack.plates
    if pack.splines is not None:
        arm = plates.mean_radius_m
        mu = coefficient(np.abs(speed_rad_s) * arm, load_n / plates.area_m2)
        load_n = pack.splines.mean_load(load_n, mu, faces=plates.faces, arm_m=arm)
    return plates.friction_torque(load_n, speed_rad_s, coefficient)


def _state_factor(pack: MountedPack, plate_c: FloatArray, work_j_mm2: FloatArray) -> FloatArray:
    material = pack.material
    bedded = material.bedding_factor(work_j_mm2)
    return np.asarray(material.temperature_factor(plate_c) * bedded)


def _work(pack: MountedPack, power_w: FloatArray, step_s: float) -> FloatArray:
    """Sliding work of each face since the pack was new. [J/mm^2]"""
    area_mm2 = pack.plates.faces * pack.plates.area_m2 * 1e6
    return np.asarray(pack.work_j_mm2 + np.cumsum(np.abs(power_w)) * step_s / area_mm2)
