"""Specific wear rate: the volume that a face loses for each newton and metre.

``k = dV / (F s)`` (J. F. Archard, J. Appl. Phys. 24 (1953) 981, per unit load and
distance), usually given in mm^3/(N m).  On the faces of a clutch pack load and
distance come together in the friction work, ``W = N mu F s``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Pack

_FACES_OF_A_PLATE = 2


def worn_area_mm2(pack: Pack, member: str) -> float:
    """Return the area that wears on one face of a plate. [mm^2]

    A friction face bears, and wears, on its lands alone; the lands sweep the whole
    ring of a mating plate.
    """
    ring = np.pi * (pack.outer_radius_mm**2 - pack.inner_radius_mm**2)
    return float(ring * (pack.contact_area_fraction if member == "friction" else 1.0))


def specific_wear_rate(
    loss_um_per_mj: ArrayLike, area_mm2: ArrayLike, faces: ArrayLike, mu: ArrayLike
) -> FloatArray:
    """Return the specific wear rate of one face. [mm^3/(N m)]

    Parameters
    ----------
    loss_um_per_mj : array
        Thickness that a plate loses on both faces together, for each MJ of friction
        work of the whole pack. [um/MJ]
    area_mm2 : array
        Area that wears on one face. [mm^2]
    faces : array
        Friction faces of the pack, N.
    mu : array
        Coefficient in service.

    Notes
    -----
    Each of the plate's two faces takes half of the thickness, ``dV = A dh / 2``, and
    ``F s = W / (N mu)``, so ``k = A N mu (dh / W) / 2``.
    """
    loss = np.asarray(loss_um_per_mj, dtype=np.float64) * 1e-9  # mm for each J
    rate: FloatArray = (
        np.asarray(area_mm2)
        * np.asarray(faces, dtype=np.float64)
        * np.asarray(mu)
        * loss
        / _FACES_OF_A_PLATE
    )
    return rate
