"""The bench around the plates: oil drag, rotating inertia, servo and oil circuit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.simulation.noise import ar1, first_order


@dataclass(frozen=True)
class OilDrag:
    """Torque of the unloaded pack: seals and sheared oil.

    ``T = [seal + viscous n(T_oil) omega / (1 + |omega| / starved)] tanh(omega / stick)``
    with ``n(T) = exp(b / (T + c) - b / (80 + c))``, the oil's relative viscosity in the
    form of Vogel.  The stated b and c are those of the demo's gear oil, from its two
    viscosities at 40 and 100 degC.

    Attributes
    ----------
    seal_nm : float
        Friction of the shaft seals. [N*m]
    viscous_nm_s : float
        Shear of the oil at 80 degC and low speed. [N*m*s]
    starved_rad_s : float
        Speed at which the oil film between open plates starts to starve. [rad/s]
    vogel_b_k, vogel_c_k : float
        Temperatures of the viscosity's fall. [K]
    stick_rad_s : float
        Speed below which the seals follow instead of slide. [rad/s]
    """

    seal_nm: float = 0.6
    viscous_nm_s: float = 0.14
    starved_rad_s: float = 60.0
    vogel_b_k: float = 1023.0
    vogel_c_k: float = 110.0
    stick_rad_s: float = 0.01

    def torque(self, speed_rad_s: FloatArray, oil_c: FloatArray) -> FloatArray:
        """Drag torque against slip speed [rad/s] and oil temperature [degC]. [N*m]"""
        size = np.abs(speed_rad_s)
        b, c = self.vogel_b_k, self.vogel_c_k
        viscosity = np.exp(b / (oil_c + c) - b / (80.0 + c))
        film = self.viscous_nm_s * viscosity * size / (1.0 + size / self.starved_rad_s)
        return np.asarray((self.seal_nm + film) * np.tanh(speed_rad_s / self.stick_rad_s))


@dataclass(frozen=True)
class Servo:
    """How well the bench follows its commands.

    Attributes
    ----------
    load_lag_s : float
        First-order lag of the clamp cylinder. [s]
    load_ripple, speed_ripple : float
        Relative standard deviation of the true load and speed about the command.
    ripple_s : float
        Correlation time of both. [s]
    oil_lag_s : float
        First-order lag of the oil circuit. [s]
    oil_wander_k : float
        Slow wander of the oil temperature. [K]
    """

    load_lag_s: float = 0.12
    load_ripple: float = 0.004
    speed_ripple: float = 0.001
    ripple_s: float = 0.5
    oil_lag_s: float = 4.0
    oil_wander_k: float = 0.25

    def load(self, command_n: FloatArray, rng: np.random.Generator, step_s: float) -> FloatArray:
        """True clamp load; exactly zero where none was ever asked for. [N]"""
        followed = first_order(command_n, time_constant_s=self.load_lag_s, step_s=step_s)
        return followed * (1.0 + self._ripple(self.load_ripple, followed.size, rng, step_s))

    def speed(
        self, command_rad_s: FloatArray, rng: np.random.Generator, step_s: float
    ) -> FloatArray:
        """True slip speed of a stiff drive. [rad/s]"""
        ripple = self._ripple(self.speed_ripple, command_rad_s.size, rng, step_s)
        return command_rad_s * (1.0 + ripple)

    def oil(self, command_c: FloatArray, rng: np.random.Generator, step_s: float) -> FloatArray:
        """True oil temperature. [degC]"""
        followed = first_order(command_c, time_constant_s=self.oil_lag_s, step_s=step_s)
        wander = ar1(rng, followed.size, sd=self.oil_wander_k, correlation_s=60.0, step_s=step_s)
        return np.asarray(followed + wander)

    def _ripple(self, sd: float, count: int, rng: np.random.Generator, step_s: float) -> FloatArray:
        return ar1(rng, count, sd=sd, correlation_s=self.ripple_s, step_s=step_s)


def spin_up_torque(speed_rad_s: FloatArray, *, inertia_kg_m2: float, step_s: float) -> FloatArray:
    """Torque that speeds up the rotating mass, ``J d(omega)/dt``. [N*m]"""
    return np.asarray(inertia_kg_m2 * np.gradient(speed_rad_s, step_s))
