"""What friction really is on the virtual rig: the truth that a reduction must find.

Slip speed v is in m/s, temperature T in degC and face pressure p in MPa.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import FloatArray

# Below this slip speed the logarithm of a real film's law flattens out. [m/s]
_CREEP_M_S = 2e-4


class SpeedCurve(Protocol):
    """How the kinetic coefficient moves with slip speed at the truth's own T and p."""

    def at(self, speed_m_s: ArrayLike) -> FloatArray:
        """Return the coefficient at each slip speed."""
        ...


@dataclass(frozen=True)
class ConstantCurve:
    """The same coefficient at every slip speed."""

    level: float

    def at(self, speed_m_s: ArrayLike) -> FloatArray:
        """Return the level, as often as there are speeds."""
        return np.full(np.shape(speed_m_s), self.level)


@dataclass(frozen=True)
class LogCurve:
    """``level + rise ln(v / speed)``, flat in creep."""

    level: float
    rise: float
    speed_m_s: float

    def at(self, speed_m_s: ArrayLike) -> FloatArray:
        """Return the coefficient at each slip speed."""
        sliding = np.hypot(np.asarray(speed_m_s, dtype=float), _CREEP_M_S)
        return np.asarray(self.level + self.rise * np.log(sliding / self.speed_m_s))


@dataclass(frozen=True)
class StribeckCurve:
    """``kinetic + (low_speed - kinetic) exp(-(v / speed)^shape) + slope v``."""

    kinetic: float
    low_speed: float
    speed_m_s: float
    shape: float
    slope_s_m: float

    def at(self, speed_m_s: ArrayLike) -> FloatArray:
        """Return the coefficient at each slip speed."""
        sliding = np.abs(np.asarray(speed_m_s, dtype=float))
        fall = np.exp(-((sliding / self.speed_m_s) ** self.shape))
        return np.asarray(
            self.kinetic + (self.low_speed - self.kinetic) * fall + self.slope_s_m * sliding
        )


@dataclass(frozen=True)
class Material:
    """One plate pairing as nature made it.

    Attributes
    ----------
    name, friction_plate, mating_plate, note : str
        As they go into campaign.toml.
    curve : SpeedCurve
        Kinetic coefficient against slip speed at `temperature_c` and `pressure_mpa`.
    temperature_per_k : float
        Relative change of the coefficient with temperature. [1/K]
    pressure_exponent : float
        Power of the pressure ratio that the coefficient follows.
    temperature_c, pressure_mpa : float
        Where the curve holds as it stands. [degC, MPa]
    static_level : float
        Breakaway coefficient after one second at rest under load.
    ageing : float
        Relative rise of the breakaway coefficient for each e-fold of dwell.
    bedding_start : float
        Relative change of the coefficient of an unused pack, such as -0.1.
    bedding_work_j_mm2 : float
        Sliding work on a face in which that change falls to 1/e. [J/mm^2]
    wear_loss : float
        Relative loss of the coefficient that long service tends to.
    wear_hours : float
        Service time in which 1 - 1/e of the loss has come. [h]
    pack_scatter, run_scatter : float
        Relative standard deviations between packs, and between runs of one pack.
    friction_wear_mm3_nm, mating_wear_mm3_nm : float
        Specific wear rate of a friction face and of a mating face. [mm^3/(N m)]
    service : mapping of str to float
        The ``service`` table of the campaign file: when plates are due.
    """

    name: str
    friction_plate: str
    mating_plate: str
    curve: SpeedCurve
    note: str = ""
    temperature_per_k: float = 0.0
    pressure_exponent: float = 0.0
    temperature_c: float = 90.0
    pressure_mpa: float = 1.5
    static_level: float = 0.14
    ageing: float = 0.006
    bedding_start: float = 0.0
    bedding_work_j_mm2: float = 1.5
    wear_loss: float = 0.0
    wear_hours: float = 80.0
    pack_scatter: float = 0.02
    run_scatter: float = 0.005
    friction_wear_mm3_nm: float = 2.5e-7
    mating_wear_mm3_nm: float = 9.0e-7
    service: Mapping[str, float] = field(default_factory=dict)

    def kinetic(
        self, speed_m_s: ArrayLike, temperature_c: ArrayLike, pressure_mpa: ArrayLike
    ) -> FloatArray:
        """Kinetic coefficient of the bedded, unworn mean of the material."""
        sliding = self.curve.at(speed_m_s) * self.pressure_factor(pressure_mpa)
        return np.asarray(sliding * self.temperature_factor(temperature_c))

    def static(
        self, dwell_s: ArrayLike, temperature_c: ArrayLike, pressure_mpa: ArrayLike
    ) -> FloatArray:
        """Breakaway coefficient of the bedded, unworn mean after a dwell. [s]"""
        aged = 1.0 + self.ageing * np.log(np.maximum(np.asarray(dwell_s, dtype=float), 0.05))
        conditions = self.temperature_factor(temperature_c) * self.pressure_factor(pressure_mpa)
        return np.asarray(self.static_level * aged * conditions)

    def temperature_factor(self, temperature_c: ArrayLike) -> FloatArray:
        """Relative coefficient at a temperature, 1 at the material's own."""
        rise = np.asarray(temperature_c, dtype=float) - self.temperature_c
        return np.asarray(np.exp(self.temperature_per_k * rise))

    def pressure_factor(self, pressure_mpa: ArrayLike) -> FloatArray:
        """Relative coefficient at a pressure, 1 at the material's own.

        Unloaded faces are given the factor of 1 Pa, since they pass no torque.
        """
        ratio = np.maximum(np.asarray(pressure_mpa, dtype=float), 1e-6) / self.pressure_mpa
        return np.asarray(ratio**self.pressure_exponent)

    def bedding_factor(self, work_j_mm2: ArrayLike) -> FloatArray:
        """Relative coefficient after some sliding work, 1 once bedded in."""
        done = np.asarray(work_j_mm2, dtype=float) / self.bedding_work_j_mm2
        return np.asarray(1.0 + self.bedding_start * np.exp(-done))

    def wear_factor(self, service_hours: ArrayLike) -> FloatArray:
        """Relative coefficient after service, 1 when new."""
        served = np.asarray(service_hours, dtype=float) / self.wear_hours
        return np.asarray(1.0 + self.wear_loss * np.expm1(-served))


@dataclass(frozen=True)
class PackTruth:
    """What one pack really is.

    Attributes
    ----------
    material, state : str
        Where it belongs.
    service_hours : float
        Service time so far. [h]
    factor : float
        Its coefficient relative to the mean of its material at its service time.
    outer_radius_m, inner_radius_m : float
        True radii. [m]
    wear_mixture : float
        Where its pressure lies between uniform pressure (0) and uniform wear (1).
    """

    material: str
    state: str
    service_hours: float
    factor: float
    outer_radius_m: float
    inner_radius_m: float
    wear_mixture: float


@dataclass(frozen=True)
class Truth:
    """All that the campaign hides.

    Attributes
    ----------
    materials : mapping of str to Material
        The laws.
    packs : mapping of str to PackTruth
        The packs.
    run_factors : mapping of str to float
        Relative coefficient of each run within its pack.
    errors : mapping of str to float
        Hidden errors of the rig, such as ``torque_reference`` (relative), the
        same for the whole campaign.
    """

    materials: Mapping[str, Material]
    packs: Mapping[str, PackTruth]
    run_factors: Mapping[str, float]
    errors: Mapping[str, float]

    def service_hours(self, material: str, state: str) -> float:
        """Mean service time of the packs in a group. [h]"""
        hours = [
            pack.service_hours
            for pack in self.packs.values()
            if (pack.material, pack.state) == (material, state)
        ]
        return sum(hours) / len(hours) if hours else 0.0

    def mu(
        self,
        material: str,
        state: str,
        speed_m_s: ArrayLike,
        temperature_c: ArrayLike,
        pressure_mpa: ArrayLike,
    ) -> FloatArray:
        """Kinetic coefficient of a material's mean in a state.

        A worn state is taken at the mean service time of its packs.
        """
        law = self.materials[material]
        worn = law.wear_factor(self.service_hours(material, state))
        return np.asarray(law.kinetic(speed_m_s, temperature_c, pressure_mpa) * worn)

    def static_mu(
        self,
        material: str,
        state: str,
        dwell_s: ArrayLike,
        temperature_c: ArrayLike,
        pressure_mpa: ArrayLike,
    ) -> FloatArray:
        """Breakaway coefficient of a material's mean in a state after a dwell. [s]"""
        law = self.materials[material]
        worn = law.wear_factor(self.service_hours(material, state))
        return np.asarray(law.static(dwell_s, temperature_c, pressure_mpa) * worn)

    def pack_mu(
        self, pack: str, speed_m_s: ArrayLike, temperature_c: ArrayLike, pressure_mpa: ArrayLike
    ) -> FloatArray:
        """Kinetic coefficient of one pack, bedded in."""
        law = self.materials[self.packs[pack].material]
        return np.asarray(
            law.kinetic(speed_m_s, temperature_c, pressure_mpa) * self._level(self.packs[pack])
        )

    def pack_static_mu(
        self, pack: str, dwell_s: ArrayLike, temperature_c: ArrayLike, pressure_mpa: ArrayLike
    ) -> FloatArray:
        """Breakaway coefficient of one pack after a dwell. [s]"""
        law = self.materials[self.packs[pack].material]
        return np.asarray(
            law.static(dwell_s, temperature_c, pressure_mpa) * self._level(self.packs[pack])
        )

    def _level(self, pack: PackTruth) -> float:
        worn = self.materials[pack.material].wear_factor(pack.service_hours)
        return pack.factor * float(worn)
