"""What packs go through in service, and what ends their life: optional keys of a campaign."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from rigdata.campaign.keys import Key


@dataclass(frozen=True)
class Duty:
    """How hard a pack works in service, averaged over its service hours."""

    name: str
    sliding_power_w: Annotated[
        float, Key("Friction power of the whole pack, mean over service time.", unit="W", above=0)
    ]
    clamp_load_n: Annotated[float, Key("Clamp load, mean while sliding.", unit="N", above=0)]
    hours_per_year: Annotated[
        float | None, Key("Service hours in a year.", unit="h", above=0, high=8784)
    ] = None
    note: Annotated[str, Key("Anything worth knowing.", free=True)] = ""


@dataclass(frozen=True)
class ServiceLimits:
    """When plates of a material are due, and what their mass says of their volume."""

    friction_wear_limit_mm: Annotated[
        float | None,
        Key("Thickness that a friction plate may lose, both faces together.", unit="mm", above=0),
    ] = None
    mating_wear_limit_mm: Annotated[
        float | None,
        Key("Thickness that a mating plate may lose, both faces together.", unit="mm", above=0),
    ] = None
    least_mu: Annotated[
        float | None, Key("Least coefficient at the reference condition.", above=0, below=2)
    ] = None
    friction_density_kg_m3: Annotated[
        float | None, Key("Density of what wears off a friction plate.", unit="kg/m^3", above=0)
    ] = None
    mating_density_kg_m3: Annotated[
        float | None, Key("Density of what wears off a mating plate.", unit="kg/m^3", above=0)
    ] = None
