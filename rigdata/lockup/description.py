"""The clutch pack of a differential as a setup sheet describes it, in TOML."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated

from rigdata.campaign.campaign import PRESSURE_LAWS
from rigdata.campaign.files import Place, read_toml
from rigdata.campaign.keys import Key
from rigdata.campaign.reading import check_pair, read_values
from rigdata.reduction.geometry import effective_radius, face_area

HUB, CASE = "hub", "case"
SIDES = 2  # of a differential, each with its own plates
_MM = 1e-3


@dataclass(frozen=True)
class Plates:
    """The plates of one side, and what they are made of."""

    outer_radius_mm: Annotated[float, Key("Outer radius of the faces.", unit="mm", above=0)]
    inner_radius_mm: Annotated[float, Key("Inner radius of the faces.", unit="mm", above=0)]
    faces_per_side: Annotated[
        int | None, Key("Friction faces on one side that slide together.", low=1, high=100)
    ] = None
    plate_order: Annotated[
        str,
        Key("Plates of one side from the pressure ring to the case, each by what it turns with."),
    ] = ""
    contact_area_fraction: Annotated[
        float, Key("Share of a face that touches.", above=0, high=1)
    ] = 1.0
    pressure_law: Annotated[
        str, Key("How pressure spreads over a face.", choices=PRESSURE_LAWS)
    ] = PRESSURE_LAWS[0]
    spline_radius_mm: Annotated[
        float | None, Key("Radius of the splines that carry the plates.", unit="mm", low=1)
    ] = None
    spline_friction: Annotated[
        float | None, Key("Friction coefficient of those splines.", low=0, below=1)
    ] = None
    mass_kg: Annotated[float | None, Key("Mass of all plates, both sides.", unit="kg", above=0)] = (
        None
    )
    specific_heat_j_kg_k: Annotated[
        float, Key("Specific heat of the plates.", unit="J/(kg K)", above=0)
    ] = 480.0  # of steel about 100 degC, common practice, no source


@dataclass(frozen=True)
class Preload:
    """What the springs press with."""

    force_n: Annotated[float, Key("Axial force of the springs.", unit="N", low=0)]
    u_n: Annotated[float, Key("Standard uncertainty of it.", unit="N", low=0)] = 0.0


@dataclass(frozen=True)
class Ramps:
    """What spreads the pressure rings when torque comes in."""

    drive_deg: Annotated[
        float,
        Key("Angle of the drive ramps from the plane of rotation.", unit="deg", above=0, high=90),
    ]
    coast_deg: Annotated[
        float,
        Key("Angle of the coast ramps from the plane of rotation.", unit="deg", above=0, high=90),
    ]
    radius_mm: Annotated[float, Key("Radius at which the ramps bear.", unit="mm", above=0)]
    friction: Annotated[float, Key("Friction coefficient of the ramps.", low=0, below=1)] = 0.0
    friction_u: Annotated[float, Key("Standard uncertainty of it.", low=0, below=1)] = 0.0
    rings: Annotated[int, Key("Pressure rings that share the torque.", low=1, high=4)] = 2


@dataclass(frozen=True)
class LockPack:
    """A clutch pack, ready to be worked out.

    Attributes
    ----------
    name : str
    plates, preload, ramps : Plates, Preload, Ramps
        As the file has them.
    faces : int
        Friction faces of one side.
    """

    name: Annotated[str, Key("Name of the pack.")]
    plates: Annotated[Plates, Key("The plates.")]
    preload: Annotated[Preload, Key("The springs.")]
    ramps: Annotated[Ramps, Key("The ramps.")]
    faces: int

    @property
    def radius_m(self) -> float:
        """Effective radius of the faces. [m]"""
        plates = self.plates
        return effective_radius(
            plates.outer_radius_mm * _MM, plates.inner_radius_mm * _MM, plates.pressure_law
        )

    @property
    def area_m2(self) -> float:
        """Contact area of one face. [m^2]"""
        plates = self.plates
        return face_area(
            plates.outer_radius_mm * _MM,
            plates.inner_radius_mm * _MM,
            plates.contact_area_fraction,
        )

    @property
    def arm_m(self) -> float:
        """``sum(N_i r_i)`` over both sides. [m]"""
        return SIDES * self.faces * self.radius_m

    def ramp_gain(self, side: str) -> float:
        """Axial force for each N m of input torque, drive or coast. [1/m]

        ``cot(theta + phi) / (n_rings r_ramp)`` with theta the angle of the ramps from the
        plane of rotation and phi their friction angle; none from 90 deg on.
        """
        ramps = self.ramps
        angle = math.radians(getattr(ramps, f"{side}_deg")) + math.atan(ramps.friction)
        return max(0.0, 1.0 / math.tan(angle)) / (ramps.rings * ramps.radius_mm * _MM)


def read_lock_pack(path: Path | str) -> LockPack:
    """Read the description of a clutch pack.

    Raises
    ------
    CampaignError
        When the file cannot be read or holds what it may not; the message says what, where and
        what was expected.
    """
    file = read_toml(Path(path))
    values = read_values(LockPack, file.table, file.place)
    plates, preload, ramps = (
        read_values(cls, values[name], file.place.inside(name))
        for name, cls in (("plates", Plates), ("preload", Preload), ("ramps", Ramps))
    )
    check_pair(plates, "spline_radius_mm", "spline_friction", file.place.inside("plates"))
    made = Plates(**plates)
    faces = _faces(made, file.place.inside("plates"))
    return LockPack(values["name"], made, Preload(**preload), Ramps(**ramps), faces)


def _faces(plates: Plates, place: Place) -> int:
    """Return the faces of one side; refuse plates that cannot be."""
    if plates.inner_radius_mm >= plates.outer_radius_mm:
        raise place.fault(
            f"is {plates.inner_radius_mm:g}",
            key="inner_radius_mm",
            expected=f"less than the outer radius, {plates.outer_radius_mm:g}",
        )
    if not plates.plate_order:
        if plates.faces_per_side is None:
            raise place.fault(
                "neither the faces nor the order of the plates is given",
                key="faces_per_side",
                expected="faces_per_side, or plate_order such as 'hub case hub case'",
            )
        return plates.faces_per_side
    faces = faces_of(plates.plate_order, place)
    if plates.faces_per_side not in (None, faces):
        raise place.fault(
            f"is {plates.faces_per_side}",
            key="faces_per_side",
            expected=f"{faces}, which follows from plate_order, or leave it out",
        )
    return faces


def faces_of(order: str, place: Place) -> int:
    """Return how many faces slide in a stack of plates.

    Two neighbours slide where one turns with the hub (side gear) and the other with the
    case; the pressure ring before the first plate and the wall behind the last one turn
    with the case.

    Raises
    ------
    CampaignError
        When a word is neither ``hub`` nor ``case``, or nothing slides.
    """
    words = order.split()
    wrong = [word for word in words if word not in (HUB, CASE)]
    if wrong:
        raise place.fault(
            f"has '{wrong[0]}'", key="plate_order", expected=f"the words {HUB} and {CASE}"
        )
    faces = sum(a != b for a, b in pairwise([CASE, *words, CASE]))
    if not faces:
        raise place.fault("no face slides", key="plate_order", expected=f"{HUB} plates too")
    return faces
