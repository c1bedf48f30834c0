"""Plates pressed together: how face pressure and torque spread over the annulus."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray

# Four Gauss-Legendre nodes are exact for polynomials up to degree seven, far
# beyond what a narrow annulus asks for.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)

# A spline's friction turns round once the load has gone back by this share.
_PLAY = 0.03

Coefficient = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True)
class Annulus:
    """The contact faces of one pack.

    Attributes
    ----------
    faces : int
        Number of friction faces.
    outer_radius_m, inner_radius_m : float
        Radii of the contact. [m]
    area_fraction : float
        Part of the annulus that touches (the rest is grooves).
    wear_mixture : float
        0 for uniform pressure, 1 for uniform wear (pressure falling as 1/r).
    """

    faces: int
    outer_radius_m: float
    inner_radius_m: float
    area_fraction: float
    wear_mixture: float = 0.0

    @property
    def area_m2(self) -> float:
        """Contact area of one face. [m^2]"""
        return self.area_fraction * np.pi * (self.outer_radius_m**2 - self.inner_radius_m**2)

    @property
    def mean_radius_m(self) -> float:
        """Radius at which the clamp load acts, were mu the same all over. [m]"""
        outer, inner, wear = self.outer_radius_m, self.inner_radius_m, self.wear_mixture
        uniform = 2.0 * (outer**3 - inner**3) / (3.0 * (outer**2 - inner**2))
        return (1.0 - wear) * uniform + wear * (outer + inner) / 2.0

    def pressure_per_newton(self, radius_m: FloatArray) -> FloatArray:
        """Face pressure at each radius for a clamp load of 1 N. [Pa/N]"""
        width = self.outer_radius_m - self.inner_radius_m
        even = 1.0 / (self.outer_radius_m**2 - self.inner_radius_m**2)
        falling = 1.0 / (2.0 * radius_m * width)
        share = (1.0 - self.wear_mixture) * even + self.wear_mixture * falling
        return np.asarray(share / (np.pi * self.area_fraction))

    def friction_torque(
        self, load_n: FloatArray, speed_rad_s: FloatArray, coefficient: Coefficient
    ) -> FloatArray:
        """Friction torque of the whole pack.

        Parameters
        ----------
        load_n : (n,) array
            Clamp load. [N]
        speed_rad_s : (n,) array
            Slip speed; only its size matters. [rad/s]
        coefficient : callable
            Local friction coefficient from local slip speed [m/s] and local
            face pressure [Pa], each (n, k).

        Returns
        -------
        (n,) array
            Torque without its sign. [N*m]

        Notes
        -----
        ``T = N int mu(omega r, p(r)) p(r) phi 2 pi r^2 dr`` over the annulus.
        """
        middle = (self.outer_radius_m + self.inner_radius_m) / 2.0
        half = (self.outer_radius_m - self.inner_radius_m) / 2.0
        radius = middle + half * _NODES
        pressure = np.outer(load_n, self.pressure_per_newton(radius))
        mu = coefficient(np.outer(np.abs(speed_rad_s), radius), pressure)
        ring = half * _WEIGHTS * self.area_fraction * 2.0 * np.pi * radius**2
        return np.asarray(self.faces * ((mu * pressure) @ ring))


@dataclass(frozen=True)
class Splines:
    """Splines that hold back part of the clamp load, plate by plate.

    Attributes
    ----------
    radius_m : float
        Radius at which the teeth carry the torque. [m]
    friction : float
        Coefficient of friction between the teeth.
    """

    radius_m: float
    friction: float

    def mean_load(
        self, load_n: FloatArray, mu: FloatArray, *, faces: int, arm_m: float
    ) -> FloatArray:
        """Load averaged over the faces, for a load put on at the cell's end.

        Parameters
        ----------
        load_n : (n,) array
            Load on the first face. [N]
        mu : (n,) array
            Friction coefficient of the faces.
        faces : int
            Number of faces; between two faces lies a splined plate.
        arm_m : float
            Effective radius of the faces. [m]

        Returns
        -------
        (n,) array
            Mean load. [N]

        Notes
        -----
        The teeth of a plate press with its torque over their radius and rub
        against the load while it grows; while it shrinks they rub the other way.
        """
        growing = _direction(load_n)
        face_load = load_n.copy()
        total = np.zeros_like(load_n)
        for _ in range(faces):
            total += face_load
            # The plate's torque comes from the load on both its faces.
            bite = growing * self.friction * mu * arm_m / self.radius_m
            face_load = face_load * (1.0 - bite) / (1.0 + bite)
        return total / faces


def _direction(load_n: FloatArray) -> FloatArray:
    """Whether the load grows (+1) or shrinks (-1); teeth turn after a little play."""
    turned_at, sign = float(load_n[0]), 1.0
    signs = np.empty_like(load_n)
    for index, load in enumerate(load_n.tolist()):
        if sign * (load - turned_at) > 0.0:
            turned_at = load
        elif sign * (turned_at - load) > _PLAY * abs(turned_at):
            turned_at, sign = load, -sign
        signs[index] = sign
    return signs
