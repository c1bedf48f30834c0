"""Viscosity of the oil against temperature, from the two values on its data sheet."""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray

_KELVIN = 273.15


def kinematic_viscosity(
    temperature_c: FloatArray, viscosity_40c: float, viscosity_100c: float
) -> FloatArray:
    """Kinematic viscosity by the viscosity-temperature chart of ASTM D341.

    Parameters
    ----------
    temperature_c : (n,) array
        Oil temperature. [degC]
    viscosity_40c, viscosity_100c : float
        Kinematic viscosity at 40 and 100 degC. [mm^2/s]

    Returns
    -------
    (n,) array
        Kinematic viscosity. [mm^2/s]

    Notes
    -----
    ``log10 log10 Z = A - B log10 T`` with T in kelvin and
    ``Z = nu + 0.7 + exp(-1.47 - 1.84 nu - 0.51 nu^2)``; the way back is
    ``nu = q - exp(-0.7487 - 3.295 q + 0.6119 q^2 - 0.3193 q^3)``, ``q = Z - 0.7``.
    The inverse is the standard's own and closes to 2e-4 below 2 mm^2/s.

    References
    ----------
    ASTM D341, Standard Practice for Viscosity-Temperature Equations and Charts
    for Liquid Petroleum or Hydrocarbon Products.
    """
    cold, hot = (_double_log(nu) for nu in (viscosity_40c, viscosity_100c))
    log_cold, log_hot = np.log10(40.0 + _KELVIN), np.log10(100.0 + _KELVIN)
    slope = (cold - hot) / (log_hot - log_cold)
    level = cold + slope * log_cold
    kelvin = np.asarray(temperature_c, dtype=np.float64) + _KELVIN
    q = 10.0 ** (10.0 ** (level - slope * np.log10(kelvin))) - 0.7
    inverse: FloatArray = q - np.exp(-0.7487 - 3.295 * q + 0.6119 * q**2 - 0.3193 * q**3)
    return inverse


def _double_log(nu: float) -> float:
    z = nu + 0.7 + np.exp(-1.47 - 1.84 * nu - 0.51 * nu**2)
    return float(np.log10(np.log10(z)))
