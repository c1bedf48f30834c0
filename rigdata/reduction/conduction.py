"""Temperature of the sliding face, from a thermocouple inside the plate."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.calibration.signals import Signal
from rigdata.campaign.campaign import Pack
from rigdata.reduction.geometry import Geometry
from rigdata.reduction.stretches import median_step
from rigdata.uncertainty.sources import Effect, Scope, Source

# How far the flow of heat departs from the even split and even spread assumed:
# half of the correction, rectangular (common practice, no source).
_RELATIVE_U = 0.5 / math.sqrt(3)

# Steel, 1.2e-5 m^2/s (order of magnitude only: it sets how fast the profile settles).
_DIFFUSIVITY_M2_S = 1.2e-5


def face_excess(
    flux_w_m2: FloatArray, thickness_m: float, depth_m: float, conductivity_w_mk: float
) -> FloatArray:
    """How much hotter the face is than a point below it, in a plate heated on both faces.

    Parameters
    ----------
    flux_w_m2 : (n,) array
        Heat that enters each face. [W/m^2]
    thickness_m, depth_m : float
        Thickness of the plate, and depth of the point below the face. [m]
    conductivity_w_mk : float
        Thermal conductivity of the plate. [W/(m K)]

    Returns
    -------
    (n,) array
        Temperature of the face less that of the point. [K]

    Notes
    -----
    One-dimensional conduction with the same flux q into both faces, once the
    shape of the profile has settled (after about ``L^2 / a``, a few tenths of a
    second for steel plates of 2 to 3 mm): the whole plate warms at one rate, so
    the profile about the middle is ``T(x) = T(0) + q x^2 / (2 k L)`` with L half
    the thickness, and ``T(L) - T(L - d) = q (L^2 - (L - d)^2) / (2 k L)``.

    References
    ----------
    H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. 1959,
    section 3.8 (constant flux at the surface of a slab; from memory, the result
    is derived here and tested against a numerical solution).
    """
    half = thickness_m / 2
    inside = half - depth_m
    excess: FloatArray = flux_w_m2 * (half**2 - inside**2) / (2 * conductivity_w_mk * half)
    return excess


def at_the_face(
    temperature: Signal,
    torque: Signal,
    speed_rad_s: FloatArray,
    time_s: FloatArray,
    pack: Pack,
    geometry: Geometry,
) -> Signal:
    """Return the plate temperature moved to the sliding face.

    The friction heat of a face, ``T w / N`` over its area, is taken to flow half
    into either plate.  A pack without the plate's data is returned as measured.
    """
    if (
        pack.plate_thickness_mm is None
        or pack.thermocouple_depth_mm is None
        or pack.plate_conductivity_w_mk is None
    ):
        return temperature
    thickness = pack.plate_thickness_mm * 1e-3
    power = np.maximum(torque.values * speed_rad_s, 0.0) / geometry.faces
    excess = face_excess(
        power / 2 / geometry.area_m2,
        thickness,
        pack.thermocouple_depth_mm * 1e-3,
        pack.plate_conductivity_w_mk,
    )
    # The profile needs this long to take its shape; before, less heat has come through.
    settle = (thickness / 2) ** 2 / _DIFFUSIVITY_M2_S
    excess = _followed(excess, time_s, settle)
    source = Source(
        f"plate-temperature:conduction:{pack.name}",
        Scope.PACK,
        Effect.ADDITIVE,
        "heat flow between the thermocouple and the face",
    )
    return Signal(
        temperature.name,
        temperature.values + excess,
        temperature.good,
        (*temperature.sources, source),
        np.concatenate([temperature.sensitivity, _RELATIVE_U * excess[None, :]]),
    )


def _followed(values: FloatArray, time_s: FloatArray, lag_s: float) -> FloatArray:
    """Mean of the values over the last `lag_s` before each frame."""
    step = median_step(time_s, lag_s)
    frames = max(1, round(lag_s / step))
    total = np.concatenate(([0.0], np.cumsum(values)))
    index = np.arange(values.size) + 1
    first = np.maximum(index - frames, 0)
    mean: FloatArray = (total[index] - total[first]) / (index - first)
    return mean
