"""The calibration of a cell against a reference that is itself a little wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, TextArray
from rigdata.simulation.sensors import StrainCell


@dataclass(frozen=True)
class Standard:
    """The reference standard of a calibration.

    Attributes
    ----------
    expanded_u_percent : float
        Expanded uncertainty of its scale, relative. [%]
    coverage_factor : float
        Coverage factor of that uncertainty.
    """

    expanded_u_percent: float
    coverage_factor: float = 2.0

    def hidden_error(self, rng: np.random.Generator) -> float:
        """Draw the relative error of its scale."""
        return float(rng.normal(0.0, self.expanded_u_percent / 100.0 / self.coverage_factor))


@dataclass(frozen=True, eq=False)
class CalibrationPoints:
    """The readings of one calibration, in the order they were taken.

    Attributes
    ----------
    series : (n,) str
        Which mounting.
    direction : (n,) str
        ``up`` or ``down``.
    applied : (n,) float
        What the standard said was applied.
    indicated : (n,) float
        What the cell read. [mV/V]
    """

    series: TextArray
    direction: TextArray
    applied: FloatArray
    indicated: FloatArray


def calibrate(
    cell: StrainCell,
    standard_error: float,
    rng: np.random.Generator,
    *,
    levels: int = 6,
    mountings: int = 3,
    repeatability: float = 2e-4,
    decimals: int = 5,
) -> CalibrationPoints:
    """Load a cell step by step, up and down, and read it.

    Parameters
    ----------
    cell : StrainCell
        The cell as it really is.
    standard_error : float
        Relative error of the standard's scale: it says x when
        ``x (1 + standard_error)`` is applied.
    rng : numpy.random.Generator
        Source of randomness.
    levels : int
        Loaded steps besides zero.
    mountings : int
        Series; the cell is taken out and put back between them.
    repeatability : float
        Scatter of one reading, relative to full scale.
    decimals : int
        Digits of the reading that are written down.

    Returns
    -------
    CalibrationPoints
        One row a reading, zero readings included.
    """
    stated = np.linspace(0.0, cell.full_scale, levels + 1)
    once = np.concatenate([stated, stated[-2::-1]])
    way = np.array(["up"] * stated.size + ["down"] * (stated.size - 1))
    applied = np.tile(once, mountings)
    readings = cell.response(applied * (1.0 + standard_error))
    readings = readings + rng.normal(0.0, repeatability * cell.span_mv_v, applied.size)
    return CalibrationPoints(
        series=np.repeat([str(i + 1) for i in range(mountings)], once.size),
        direction=np.tile(way, mountings),
        applied=applied,
        indicated=np.round(readings, decimals) + 0.0,
    )
