"""What spline friction takes from the clamp load on its way through the pack."""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.campaign.campaign import Pack

Coefficient = TypeVar("Coefficient", float, FloatArray)

# The friction of a spline under load is known to about half of itself
# (common practice, no source); rectangular, JCGM 100:2008, 4.3.7.
RELATIVE_U = 0.5 / math.sqrt(3)


def face_load_factor(
    mu: Coefficient, spline_friction: float, radius: float, spline_radius: float, faces: int
) -> Coefficient:
    """Mean load on the faces over the load at the pressed end, on loading.

    Parameters
    ----------
    mu : float or (n,) array
        Friction coefficient of the faces.
    spline_friction : float
        Friction coefficient of the splines, mu_s.
    radius, spline_radius : float
        Effective radius of the faces and radius of the splines, same unit.
    faces : int
        Number of friction faces N.

    Returns
    -------
    float or (n,) array
        ``mean(F_i) / F_in`` over the N faces; 1 without spline friction.

    Notes
    -----
    The torque that a plate takes from its two faces presses its spline with
    ``mu (F_in + F_out) r_e / r_spline``, whose friction opposes the sliding of
    the plate: ``F_out = F_in (1 - a) / (1 + a)``, ``a = mu mu_s r_e / r_spline``.
    The face before the first spline sees the whole load.  On unloading the
    friction points the other way: use the reciprocal ratio (`unloading`).
    """
    a = mu * spline_friction * radius / spline_radius
    ratio = (1 - a) / (1 + a)
    total = ratio**0
    for face in range(1, faces):
        total = total + ratio**face
    return total / faces


def mean_face_load(
    load: FloatArray,
    torque: FloatArray,
    unloading: BoolArray,
    pack: Pack,
    radius_m: float,
) -> FloatArray:
    """Mean face load from the load at the pressed end. [N]

    Parameters
    ----------
    load, torque : (n,) array
        Clamp load at the pressed end and corrected friction torque. [N, N m]
    unloading : (n,) bool array
        Where the load is falling.
    pack : Pack
        Returned unchanged when it states no spline data.
    radius_m : float
        Effective radius. [m]

    Notes
    -----
    mu is needed for the loss and the loss for mu; because a << 1 the fixed
    point is reached to rounding in a few steps, once for the whole run.
    """
    if pack.spline_friction is None or pack.spline_radius_mm is None:
        return load
    spline_radius = pack.spline_radius_mm * 1e-3
    pressed = load > 0.2 * load.max()
    apparent = abs(float(torque[pressed].sum() / load[pressed].sum()))
    apparent /= pack.friction_faces * radius_m
    mu = apparent
    factors = (1.0, 1.0)
    for _ in range(20):
        factors = (
            face_load_factor(
                mu, pack.spline_friction, radius_m, spline_radius, pack.friction_faces
            ),
            face_load_factor(
                mu, -pack.spline_friction, radius_m, spline_radius, pack.friction_faces
            ),
        )
        mu = apparent / factors[0]
    return np.where(unloading, load * factors[1], load * factors[0])
