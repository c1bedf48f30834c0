"""Plates on the measuring bench: thickness, mass and roughness against service."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.simulation.truth import Material

_STEEL_KG_M3 = 7850.0
_PLATES = 2  # of each member, measured at each inspection
_STEPS = 4


@dataclass(frozen=True)
class Inspection:
    """One plate measured once.

    Attributes
    ----------
    pack, plate, member : str
        Whose plate it is, its number, and ``friction`` or ``mating``.
    service_hours : float
        Service time at the inspection. [h]
    thickness_mm, mass_g, roughness_ra_um : float
        What was measured. [mm, g, um]
    note : str
        Remark; empty for none.
    """

    pack: str
    service_hours: float
    plate: str
    member: str
    thickness_mm: float
    mass_g: float
    roughness_ra_um: float
    note: str = ""


def inspect_pack(
    pack: str, material: Material, service_hours: float, rng: np.random.Generator
) -> list[Inspection]:
    """Measure two plates of each member of a pack, new and along its service.

    Parameters
    ----------
    pack : str
        Name of the pack.
    material : Material
        Its wear rates.
    service_hours : float
        Service time so far; 0 gives the inspection when new alone. [h]
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    list of Inspection
        One row a plate and inspection.
    """
    stops = np.linspace(0.0, service_hours, _STEPS) if service_hours > 0.0 else np.zeros(1)
    rows: list[Inspection] = []
    for member, rate, rough, smooth in (
        ("friction", material.friction_wear_um_h, 1.6, 0.9),
        ("mating", material.mating_wear_um_h, 0.35, 0.25),
    ):
        for number in range(1, _PLATES + 1):
            first_mm = 2.0 + rng.normal(0.0, 0.004)
            own_rate = rate * (1.0 + rng.normal(0.0, 0.08))
            # Plates carry teeth and lugs beside the annulus that wears.
            area_mm2, body = 4480.0, 1.25
            for hours in stops:
                lost_mm = own_rate * hours / 1e3
                mass_g = _STEEL_KG_M3 * area_mm2 * (body * first_mm - lost_mm) * 1e-6
                ra = smooth + (rough - smooth) * np.exp(-hours / 40.0)
                rows.append(
                    Inspection(
                        pack=pack,
                        service_hours=round(float(hours), 1),
                        plate=f"{member[0].upper()}{number}",
                        member=member,
                        thickness_mm=round(float(first_mm - lost_mm + rng.normal(0.0, 1e-3)), 4),
                        mass_g=round(float(mass_g + rng.normal(0.0, 0.01)), 2),
                        roughness_ra_um=round(float(ra * (1.0 + rng.normal(0.0, 0.04))), 2),
                        note="after test" if hours == stops[-1] > 0.0 else "",
                    )
                )
    return rows
