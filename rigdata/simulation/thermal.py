"""The plates as one lump of steel, heated by friction and cooled by oil."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from rigdata.arrays import FloatArray


@dataclass(frozen=True)
class PlateLump:
    """Heat balance of the plates: ``C dT/dt = P - G (T - T_oil)``.

    Attributes
    ----------
    heat_capacity_j_k : float
        Heat capacity C of the plates and what touches them. [J/K]
    conductance_w_k : float
        Heat conductance G from the plates to the oil. [W/K]
    """

    heat_capacity_j_k: float = 900.0
    conductance_w_k: float = 70.0

    def temperature(
        self, power_w: FloatArray, oil_c: FloatArray, *, step_s: float, start_c: float
    ) -> FloatArray:
        """Plate temperature over time.

        Parameters
        ----------
        power_w : (n,) array
            Friction power. [W]
        oil_c : (n,) array
            Oil temperature. [degC]
        step_s : float
            Sampling interval. [s]
        start_c : float
            Plate temperature at the first sample. [degC]

        Returns
        -------
        (n,) array
            Plate temperature. [degC]

        Notes
        -----
        The trapezoidal rule (Crank-Nicolson), so that the heat that went in,
        less the heat that went out, is the heat that stayed, step by step.
        """
        half = 0.5 * step_s * self.conductance_w_k / self.heat_capacity_j_k
        source = 0.5 * step_s * power_w / self.heat_capacity_j_k + half * oil_c
        drive = np.empty_like(source)
        drive[0] = start_c
        drive[1:] = (source[1:] + source[:-1]) / (1.0 + half)
        return np.asarray(lfilter([1.0], [1.0, -(1.0 - half) / (1.0 + half)], drive))
