"""Plates on the measuring bench: thickness, mass and roughness against service."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.simulation.spec import DutyDesign, PackDesign
from rigdata.simulation.truth import Material

_STEEL_KG_M3 = 7850.0
_PLATES = 2  # of each member, measured at each inspection
_STEPS = 4
_REPEATS = 3  # readings of a plate at the last inspection
_RATE_SPREAD = 0.08  # between plates, relative
_THICKNESS_MM, _MASS_G = 1e-3, 0.01  # standard deviation of a reading


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
    pack: PackDesign, material: Material, duty: DutyDesign | None, rng: np.random.Generator
) -> list[Inspection]:
    """Measure two plates of each member of a pack, new and along its service.

    Parameters
    ----------
    pack : PackDesign
        The pack; without service hours it is measured when new alone.
    material : Material
        Its specific wear rates.
    duty : DutyDesign or None
        What its service was; needed where it has served.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    list of Inspection
        One row a reading.
    """
    served = pack.service_hours
    stops = np.linspace(0.0, served, _STEPS) if served > 0.0 else np.zeros(1)
    rows: list[Inspection] = []
    for member, rough, smooth in (("friction", 1.6, 0.9), ("mating", 0.35, 0.25)):
        rate = loss_mm_per_hour(pack, material, duty, member) if duty is not None else 0.0
        for number in range(1, _PLATES + 1):
            first_mm = 2.0 + rng.normal(0.0, 0.004)
            own_rate = rate * (1.0 + rng.normal(0.0, _RATE_SPREAD))
            # Plates carry teeth and lugs beside the annulus that wears.
            area_mm2, body = worn_area_mm2(pack, member), 1.25
            for hours in stops:
                lost_mm = own_rate * hours
                whole_mm2 = worn_area_mm2(pack, "mating")
                volume_mm3 = whole_mm2 * body * first_mm - area_mm2 * lost_mm
                mass_g = _STEEL_KG_M3 * volume_mm3 * 1e-6
                ra = smooth + (rough - smooth) * np.exp(-hours / 40.0)
                last = bool(hours == stops[-1] > 0.0)
                for _ in range(_REPEATS if last else 1):
                    read_mm = first_mm - lost_mm + rng.normal(0.0, _THICKNESS_MM)
                    rows.append(
                        Inspection(
                            pack=pack.name,
                            service_hours=round(float(hours), 1),
                            plate=f"{member[0].upper()}{number}",
                            member=member,
                            thickness_mm=round(float(read_mm), 4),
                            mass_g=round(float(mass_g + rng.normal(0.0, _MASS_G)), 2),
                            roughness_ra_um=round(float(ra * (1.0 + rng.normal(0.0, 0.04))), 2),
                            note="after test" if last else "",
                        )
                    )
    return rows


def worn_area_mm2(pack: PackDesign, member: str) -> float:
    """Area of one face that wears: the lands of a friction plate, the ring of a mating one."""
    return pack.area_mm2 if member == "friction" else pack.area_mm2 / pack.contact_area_fraction


def loss_mm_per_hour(pack: PackDesign, material: Material, duty: DutyDesign, member: str) -> float:
    """Thickness that both faces of a plate lose in an hour of duty. [mm/h]

    Archard's law face by face: load times sliding distance of a face follow from
    the friction power, which all faces share.
    """
    mu = float(material.kinetic(0.1, material.temperature_c, material.pressure_mpa))
    load_distance_nm = duty.sliding_power_w * 3600.0 / (pack.friction_faces * mu)
    rate = material.friction_wear_mm3_nm if member == "friction" else material.mating_wear_mm3_nm
    return 2.0 * rate * load_distance_nm / worn_area_mm2(pack, member)
