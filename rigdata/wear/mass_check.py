"""Mass against thickness: do the two gauges see the same wear?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray
from rigdata.wear.readings import Plates

_LEAST_PLATES = 2


@dataclass(frozen=True)
class MassCheck:
    """Mass lost over the mass of the thickness lost.

    Attributes
    ----------
    ratio, low, high : float
        Ratio of all plates together and its 95 % interval; 1 where both gauges
        agree and area and density are right.
    n_plates : int
        Plates that were measured and weighed at two service times or more.
    agrees : bool
        Whether the interval holds 1.
    """

    ratio: float
    low: float
    high: float
    n_plates: int
    agrees: bool


def mass_check(plates: Plates, area_mm2: float, density_kg_m3: float) -> MassCheck | None:
    """Compare what plates lost in mass and in thickness; None with fewer than two plates.

    Parameters
    ----------
    plates : Plates
        One member of one material.
    area_mm2 : float
        Area that wears on one face. [mm^2]
    density_kg_m3 : float
        Density of what wears off. [kg/m^3]

    Notes
    -----
    Ratio of means with Fieller's interval for pairs (E. C. Fieller, J. R. Stat. Soc.
    B 16 (1954) 175): the losses of a plate from its first to its last reading are
    one pair.  The interval is unbounded where the thickness lost is not resolved.
    """
    mass, expected = [], []
    for name in dict.fromkeys(plates.plate.tolist()):
        own = np.flatnonzero(
            (plates.plate == name) & np.isfinite(plates.thickness_mm) & np.isfinite(plates.mass_g)
        )
        own = own[np.argsort(plates.hours[own])]
        if own.size < 2:
            continue
        first, last = own[0], own[-1]
        mass.append(plates.mass_g[first] - plates.mass_g[last])
        lost_mm = plates.thickness_mm[first] - plates.thickness_mm[last]
        expected.append(lost_mm * area_mm2 * density_kg_m3 * 1e-6)
    if len(mass) < _LEAST_PLATES:
        return None
    ratio, low, high = paired_ratio(np.array(mass), np.array(expected))
    return MassCheck(ratio, low, high, len(mass), low <= 1.0 <= high)


def paired_ratio(
    above: FloatArray, below: FloatArray, level: float = 0.95
) -> tuple[float, float, float]:
    """Return the ratio of the means of pairs and its interval by Fieller's theorem."""
    n, a, b = above.size, float(above.mean()), float(below.mean())
    t = float(stats.t.ppf(0.5 + level / 2.0, n - 1))
    low, high = fieller(a, b, np.cov(above, below) / n, t)
    return a / b if b else np.nan, low, high


def fieller(a: float, b: float, covariance: FloatArray, t: float) -> tuple[float, float]:
    """Return the interval of the ratio of two means.

    Parameters
    ----------
    a, b : float
        The means, `b` being divided by.
    covariance : (2, 2) array
        Of the two.
    t : float
        Quantile of Student's t for the level.

    Returns
    -------
    (low, high)
        Infinite where `b` is not resolved from 0.

    Notes
    -----
    The ends solve ``(a - q b)^2 = t^2 (v_aa - 2 q v_ab + q^2 v_bb)`` for q.
    """
    (v_aa, v_ab), (_, v_bb) = t * t * covariance
    square, half, constant = b * b - v_bb, a * b - v_ab, a * a - v_aa
    root = half * half - square * constant
    if square <= 0.0 or root < 0.0:
        return -np.inf, np.inf
    low, high = ((half + sign * np.sqrt(root)) / square for sign in (-1.0, 1.0))
    return float(low), float(high)
