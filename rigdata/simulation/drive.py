"""A compliant drive that winds up against a stuck pack until it breaks away."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray

_SUBSTEP_S = 2e-4
# The drive lets go of the pack once the clamp load is nearly off.
_RELEASE = 0.02


@dataclass(frozen=True)
class SlipTable:
    """Relative friction torque against slip speed, quick to look up one by one.

    Attributes
    ----------
    log_low : float
        Natural logarithm of the lowest speed in the table. [ln(rad/s)]
    step : float
        Step of the logarithm.
    shape : tuple of float
        Relative torque at each speed.
    """

    log_low: float
    step: float
    shape: tuple[float, ...]

    def at(self, speed_rad_s: float) -> float:
        """Relative torque at one speed, held constant beyond the table's ends."""
        place = (math.log(max(speed_rad_s, 1e-12)) - self.log_low) / self.step
        if place <= 0.0:
            return self.shape[0]
        index = int(place)
        if index >= len(self.shape) - 1:
            return self.shape[-1]
        left, right = self.shape[index], self.shape[index + 1]
        return left + (place - index) * (right - left)


@dataclass(frozen=True)
class CompliantDrive:
    """A torsion spring and damper between a slow drive and the pack.

    Attributes
    ----------
    stiffness_nm_rad : float
        Stiffness of the drive line. [N*m/rad]
    damping_nm_s_rad : float
        Damping of the drive line. [N*m*s/rad]
    inertia_kg_m2 : float
        Mass that moves with the pack. [kg*m^2]
    """

    stiffness_nm_rad: float
    damping_nm_s_rad: float
    inertia_kg_m2: float

    def turn(
        self,
        drive_rad_s: FloatArray,
        kinetic_nm: FloatArray,
        static_nm: FloatArray,
        drag_nm: FloatArray,
        slip: SlipTable,
        *,
        ageing: float,
        step_s: float,
    ) -> tuple[FloatArray, FloatArray]:
        """Let the pack stick, break away and slip.

        Parameters
        ----------
        drive_rad_s : (n,) array
            Speed of the drive's own end. [rad/s]
        kinetic_nm : (n,) array
            Kinetic friction torque at the speed where `slip` is 1. [N*m]
        static_nm : (n,) array
            Torque at which the pack would break away after 1 s at rest. [N*m]
        ageing : float
            Relative rise of that torque for each e-fold of the time at rest.
        drag_nm : (n,) array
            Drag torque while the pack slips. [N*m]
        slip : SlipTable
            How the kinetic torque moves with slip speed.
        step_s : float
            Sampling interval. [s]

        Returns
        -------
        torque_nm, speed_rad_s : (n,) array
            Torque in the drive line, which is friction, drag and
            ``J d(omega)/dt`` together, and slip speed of the pack. [N*m, rad/s]
        """
        count = drive_rad_s.size
        stiffness, damping = self.stiffness_nm_rad, self.damping_nm_s_rad
        torque, speed = np.zeros(count), np.zeros(count)
        held = kinetic_nm > _RELEASE * float(kinetic_nm.max(initial=0.0))
        advance = drive_rad_s * step_s
        twist, index = 0.0, 0
        while index < count:
            if not held[index]:
                twist, index = 0.0, index + 1
                continue
            end = _first(~held, index, count)
            climb = twist + np.cumsum(advance[index:end])
            wound = stiffness * climb + damping * drive_rad_s[index:end]
            rest_s = np.maximum(step_s * np.arange(1, end - index + 1), 0.05)
            limit = static_nm[index:end] * (1.0 + ageing * np.log(rest_s))
            loose = _first(np.abs(wound) > limit, 0, end - index)
            torque[index : index + loose] = wound[:loose]
            index += loose
            if index == end:
                twist = float(climb[-1])
                continue
            # It lets go between two samples, as soon as the limit is met.
            torque[index] = np.copysign(limit[loose], wound[loose])
            twist = float((torque[index] - damping * drive_rad_s[index]) / stiffness)
            while index + 1 < end:
                index += 1
                twist, omega = self._tick(
                    twist,
                    float(speed[index - 1]),
                    float(drive_rad_s[index]),
                    float(kinetic_nm[index]),
                    float(drag_nm[index]),
                    slip,
                    step_s,
                )
                torque[index] = stiffness * twist + damping * (float(drive_rad_s[index]) - omega)
                speed[index] = omega
                if omega == 0.0:
                    break
            index += 1
        return torque, speed

    def _tick(
        self,
        twist: float,
        omega: float,
        drive: float,
        kinetic: float,
        drag: float,
        slip: SlipTable,
        step_s: float,
    ) -> tuple[float, float]:
        """Twist and slip speed one sample on; speed 0 when the pack stuck again."""
        parts = max(1, math.ceil(step_s / _SUBSTEP_S))
        tick = step_s / parts
        for _ in range(parts):
            line = self.stiffness_nm_rad * twist + self.damping_nm_s_rad * (drive - omega)
            omega += tick * (line - drag - kinetic * slip.at(omega)) / self.inertia_kg_m2
            if omega <= 0.0:
                return twist, 0.0
            twist += tick * (drive - omega)
        return twist, omega


def _first(condition: BoolArray, start: int, end: int) -> int:
    """Index of the first true entry from `start` on, or `end`."""
    hits = np.flatnonzero(condition[start:end])
    return start + int(hits[0]) if hits.size else end
