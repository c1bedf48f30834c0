"""The questions of a campaign that is still to be made, as plan.toml asks them."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Annotated, Any

from rigdata.campaign.campaign import Material, Oil, Pack, Reference
from rigdata.campaign.files import Place, read_toml
from rigdata.campaign.keys import NAME, NAME_WORDS, Key, Kind
from rigdata.campaign.reading import check_names, nearest, read_values
from rigdata.campaign.rig import Rig, read_rig

MOST_PACKS = 30


@dataclass(frozen=True)
class Region:
    """Where the coefficient is wanted; each range as [low, high]."""

    slip_speeds_m_s: Annotated[tuple[float, float], Key("Slip speeds.", unit="m/s", above=0)]
    temperatures_c: Annotated[
        tuple[float, float], Key("Plate temperatures.", unit="degC", above=-273.15)
    ]
    pressures_mpa: Annotated[tuple[float, float], Key("Face pressures.", unit="MPa", above=0)]
    dwells_s: Annotated[
        tuple[float, float] | None,
        Key("Times at rest before a breakaway; leave out for no breakaways.", unit="s", above=0),
    ] = None


@dataclass(frozen=True)
class Minutes:
    """What each step takes at the rig. [min]

    The defaults are common practice, no source: time them on your own bench.
    """

    mount: Annotated[float, Key("Changing the pack, oil up to temperature.", low=0)] = 40.0
    settle: Annotated[float, Key("Going to another temperature.", low=0)] = 8.0
    zero: Annotated[float, Key("A zero run.", low=0)] = 2.0
    drag: Annotated[float, Key("A drag run, cold and hot.", low=0)] = 20.0
    bedding: Annotated[float, Key("Bedding-in.", low=0)] = 30.0
    speed_sweep: Annotated[float, Key("A speed sweep.", above=0)] = 4.0
    load_sweep: Annotated[float, Key("A load sweep.", above=0)] = 4.0
    temperature_sweep: Annotated[float, Key("A temperature sweep, cooling too.", above=0)] = 25.0
    breakaway: Annotated[float, Key("Breakaways at one setting.", above=0)] = 6.0

    def of(self, procedure: str) -> float:
        """Return the minutes of a run of this procedure."""
        return float(getattr(self, procedure.replace("-", "_")))


@dataclass(frozen=True)
class Spread:
    """What is expected of the scatter, in percent of mu, where no earlier campaign tells."""

    packs_percent: Annotated[float | None, Key("Between packs.", above=0, high=50)] = None
    runs_percent: Annotated[float | None, Key("Between runs of one pack.", low=0, high=50)] = None
    points_percent: Annotated[float | None, Key("From point to point.", above=0, high=50)] = None


@dataclass(frozen=True)
class Side:
    """A material as the plan names it."""

    friction_plate: Annotated[str, Key("The friction plate: base, facing, surface.")]
    mating_plate: Annotated[str, Key("The plate it runs against.")]
    note: Annotated[str, Key("Anything worth knowing.", free=True)] = ""
    batches: Annotated[str, Key("Batches to test, with commas between them.")] = "1"


@dataclass(frozen=True)
class Group:
    """The packs that are alike: one batch of one material."""

    material: str
    batch: str
    label: str


@dataclass(frozen=True, eq=False)
class Request:
    """All that a plan is made from.

    Attributes
    ----------
    path : Path
        The plan file.
    groups : tuple of Group
        What is tested, the baseline first.
    pack : Pack
        The plates, alike in all packs.
    The other attributes are the keys of the file.
    """

    path: Path
    groups: tuple[Group, ...]
    pack: Annotated[Pack, Key("The plates, as in [packs.NAME] of campaign.toml.", kind=Kind.TABLE)]
    name: Annotated[str, Key("Name of the campaign to come.")]
    rig: Annotated[Rig, Key("Rig file.", kind=Kind.FILE, anywhere=True)]
    reference: Annotated[Reference, Key("Condition at which single numbers are quoted.")]
    region: Annotated[Region, Key("Where the coefficient is wanted.")]
    materials: Annotated[Mapping[str, Material], Key("The materials, by name.")]
    baseline: Annotated[str, Key("Material that the others are compared with.")]
    resolve_percent: Annotated[
        float | None, Key("Difference that the tests must be able to show.", above=0, high=50)
    ] = None
    precision_percent: Annotated[
        float | None,
        Key("Half the 95 % interval of mu at the reference, in percent.", above=0, high=50),
    ] = None
    power_percent: Annotated[
        float, Key("How surely a difference of that size must show.", low=50, high=99.9)
    ] = 90.0
    packs: Annotated[
        int | None,
        Key("Packs of each batch; found from the aim where left out.", low=2, high=MOST_PACKS),
    ] = None
    tests: Annotated[
        int, Key("Tests of a pack, beside the reference and the breakaways.", low=1, high=40)
    ] = 6
    law: Annotated[str | None, Key("Law to lay the tests out for.")] = None
    hours_per_day: Annotated[float, Key("Hours at the rig in a day.", above=0, high=24)] = 8.0
    first_day: Annotated[datetime.date | None, Key("Day of the first pack.")] = None
    seed: Annotated[int, Key("Seed of the order of the tests.", low=0)] = 1
    oil: Annotated[Oil | None, Key("The oil.")] = None
    minutes: Annotated[Minutes, Key("What each step takes at the rig.")] = field(
        default_factory=Minutes
    )
    scatter: Annotated[Spread, Key("Scatter expected.")] = field(default_factory=Spread)

    @property
    def ratios(self) -> tuple[tuple[Group, Group], ...]:
        """The comparisons asked for: each group with the first."""
        return tuple((group, self.groups[0]) for group in self.groups[1:])


def read_request(path: Path) -> Request:
    """Read a plan file and its rig.

    Raises
    ------
    CampaignError
        When a key is unknown, missing, or may not have its value.
    """
    file = read_toml(path.resolve())
    place = file.place
    values = read_values(Request, file.table, place)
    for name, cls in (
        ("reference", Reference),
        ("region", Region),
        ("minutes", Minutes),
        ("scatter", Spread),
        ("oil", Oil),
    ):
        if name in values:
            values[name] = cls(**read_values(cls, values[name], place.inside(name)))
    _check_inside(values["reference"], values["region"], place)
    sides = _read_sides(values["materials"], place.inside("materials"))
    if values["baseline"] not in sides:
        near = nearest(values["baseline"], sides)
        raise place.fault(
            f"there is no material '{values['baseline']}'",
            key="baseline",
            expected="one of " + ", ".join(sides),
            do=f"Did you mean {near}?" if near else "",
        )
    values["materials"] = {
        name: Material(name, side.friction_plate, side.mating_plate, side.note)
        for name, side in sides.items()
    }
    groups = _groups(sides, values["baseline"], place.inside("materials"))
    _check_aim(values, groups, place)
    values["pack"] = _read_pack(values["pack"], values["baseline"], place.inside("pack"))
    values["rig"] = read_rig(values["rig"])
    return Request(path=place.file, groups=groups, **values)


def _read_sides(tables: Mapping[str, Any], place: Place) -> dict[str, Side]:
    check_names(tables, place)
    return {
        name: Side(**read_values(Side, table, place.inside(name))) for name, table in tables.items()
    }


def _read_pack(table: object, material: str, place: Place) -> Pack:
    own = table if isinstance(table, dict) else {}
    for name in ("material", "batch"):
        if name in own:
            raise place.fault(
                "does not stand here", key=name, do="Name materials and batches in [materials.NAME]"
            )
    given = {"material": material, "batch": "1", "state": "new", "service_hours": 0.0} | own
    pack = Pack(name="", **read_values(Pack, given, place))
    if pack.inner_radius_mm >= pack.outer_radius_mm:
        raise place.fault(
            f"is {pack.inner_radius_mm:g}",
            key="inner_radius_mm",
            expected=f"less than outer_radius_mm, {pack.outer_radius_mm:g}",
        )
    return pack


def _groups(sides: Mapping[str, Side], baseline: str, place: Place) -> tuple[Group, ...]:
    groups = []
    for name in (baseline, *(name for name in sides if name != baseline)):
        batches = [batch.strip() for batch in sides[name].batches.split(",")]
        for batch in batches:
            if not re.fullmatch(NAME, batch) or batches.count(batch) > 1:
                raise place.inside(name).fault(
                    f"'{batch}' is no batch of its own", key="batches", expected=NAME_WORDS
                )
            label = name if len(batches) == 1 else f"{name}, batch {batch}"
            groups.append(Group(name, batch, label))
    return tuple(groups)


def _check_aim(values: Mapping[str, Any], groups: tuple[Group, ...], place: Place) -> None:
    wanted = [name for name in ("resolve_percent", "precision_percent") if name in values]
    if "resolve_percent" in wanted and len(groups) == 1:
        raise place.fault(
            "there is one batch of one material, so nothing to tell apart",
            key="resolve_percent",
            do="Name a second material or batch, or ask for precision_percent",
        )
    if not wanted and "packs" not in values:
        raise place.fault(
            "nothing says how many packs",
            expected="resolve_percent, precision_percent or packs",
            do="Write the difference that matters, as resolve_percent = 5",
        )


def _check_inside(reference: Reference, region: Region, place: Place) -> None:
    axes = (f.name for f in fields(Reference) if getattr(reference, f.name) is not None)
    ranges = {
        "slip_speed_m_s": region.slip_speeds_m_s,
        "temperature_c": region.temperatures_c,
        "pressure_mpa": region.pressures_mpa,
        "dwell_s": region.dwells_s,
    }
    for axis in axes:
        span, value = ranges[axis], getattr(reference, axis)
        if span is not None and not span[0] <= value <= span[1]:
            raise place.inside("reference").fault(
                f"is {value:g}",
                key=axis,
                expected=f"inside the range of [region], {span[0]:g} to {span[1]:g}",
                do="Widen the range or move the reference",
            )
