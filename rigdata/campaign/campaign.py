"""The campaign: what was tested, on which rig, in which runs."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from rigdata.campaign.files import InputFile, Place, TomlFile, read_toml
from rigdata.campaign.findings import LogPart, log_notices, record_notices
from rigdata.campaign.keys import NAME, NAME_WORDS, Key, Kind
from rigdata.campaign.reading import check_names, check_pair, nearest, read_values
from rigdata.campaign.rig import Rig, read_rig
from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.campaign.viscosity_index import HIGH, LOW, viscosity_index
from rigdata.errors import CampaignError, Notice, Severity
from rigdata.storage.files import is_file, is_folder, sha256
from rigdata.uncertainty.identity import Origins

FILE_NAME = "campaign.toml"
INSPECTIONS = "inspections.csv"  # beside it, where plates were measured
STATES = ("new", "bedded", "worn")
PRESSURE_LAWS = ("uniform-pressure", "uniform-wear")
PROCEDURES = (
    "zero",
    "drag",
    "bedding",
    "speed-sweep",
    "load-sweep",
    "temperature-sweep",
    "steady",
    "breakaway",
    "stint",
)


@dataclass(frozen=True)
class Reference:
    """The condition at which single numbers are quoted."""

    slip_speed_m_s: Annotated[float, Key("Slip speed.", unit="m/s", above=0, high=100)]
    temperature_c: Annotated[float, Key("Plate temperature.", unit="degC", above=-273.15)]
    pressure_mpa: Annotated[float, Key("Face pressure.", unit="MPa", above=0, high=1000)]
    dwell_s: Annotated[
        float | None, Key("Time under load at rest before a breakaway.", unit="s", above=0)
    ] = None


@dataclass(frozen=True)
class Oil:
    """The oil, from its data sheet."""

    name: Annotated[str, Key("Name of the oil.")]
    kinematic_viscosity_40c_mm2_s: Annotated[
        float, Key("Kinematic viscosity at 40 degC.", unit="mm^2/s", above=0.2)
    ]
    kinematic_viscosity_100c_mm2_s: Annotated[
        float, Key("Kinematic viscosity at 100 degC.", unit="mm^2/s", above=0.2)
    ]
    density_15c_kg_m3: Annotated[
        float | None, Key("Density at 15 degC.", unit="kg/m^3", above=0)
    ] = None

    @property
    def viscosity_index(self) -> float | None:
        """By ASTM D2270, None for oils too thin to have one."""
        return viscosity_index(
            self.kinematic_viscosity_40c_mm2_s, self.kinematic_viscosity_100c_mm2_s
        )


@dataclass(frozen=True)
class Material:
    """A friction plate and its mating plate, as a pair."""

    name: str
    friction_plate: Annotated[str, Key("The friction plate: base, facing, surface.")]
    mating_plate: Annotated[str, Key("The plate it runs against.")]
    note: Annotated[str, Key("Anything worth knowing.", free=True)] = ""
    service: Annotated[ServiceLimits | None, Key("When plates are due.")] = None


@dataclass(frozen=True)
class Pack:
    """The plates mounted together for test."""

    name: str
    material: Annotated[str, Key("Material of the pack, by its name.")]
    batch: Annotated[
        str, Key("Batch that the plates come from.", pattern=NAME, pattern_words=NAME_WORDS)
    ]
    state: Annotated[str, Key("State of the plates.", choices=STATES)]
    service_hours: Annotated[float, Key("Service time so far.", unit="h", low=0)]
    friction_faces: Annotated[int, Key("Number of faces that slide.", low=1, high=1000)]
    outer_radius_mm: Annotated[float, Key("Outer radius of the friction face.", unit="mm", above=0)]
    inner_radius_mm: Annotated[float, Key("Inner radius of the friction face.", unit="mm", above=0)]
    radius_u_mm: Annotated[float, Key("Standard uncertainty of either radius.", unit="mm", above=0)]
    contact_area_fraction: Annotated[
        float, Key("Part of the ring that bears: less the grooves.", above=0, high=1)
    ]
    pressure_law: Annotated[
        str, Key("Spread of the pressure over the radius.", choices=PRESSURE_LAWS)
    ]
    spline_radius_mm: Annotated[float | None, Key("Radius of the splines.", unit="mm", low=1)] = (
        None
    )
    spline_friction: Annotated[
        float | None, Key("Friction coefficient of the splines.", low=0, below=1)
    ] = None
    plate_thickness_mm: Annotated[
        float | None, Key("Thickness of the plate that holds the thermocouple.", unit="mm", above=0)
    ] = None
    thermocouple_depth_mm: Annotated[
        float | None, Key("Depth of the thermocouple below the face.", unit="mm", above=0)
    ] = None
    plate_conductivity_w_mk: Annotated[
        float | None, Key("Thermal conductivity of that plate.", unit="W/(m K)", above=0)
    ] = None
    duty: Annotated[str | None, Key("Duty that its service hours were spent on, by name.")] = None
    sliding_work_mj: Annotated[
        float | None, Key("Friction work so far, where it is known.", unit="MJ", low=0)
    ] = None


@dataclass(frozen=True)
class Run:
    """One log of one pack under one procedure."""

    id: Annotated[str, Key("Name of the run.", pattern=NAME, pattern_words=NAME_WORDS)]
    pack: Annotated[str, Key("Pack that was tested, by its name.")]
    procedure: Annotated[str, Key("What was done.", choices=PROCEDURES)]
    log: Annotated[Path, Key("Log of the run.", may_be_absent=True)]
    date: Annotated[
        datetime.date | None, Key("Day of the run; the campaign's date where left out.")
    ] = None
    remark: Annotated[str, Key("Anything worth knowing.", free=True)] = ""
    exclude: Annotated[str | None, Key("Why the run is not to be used.")] = None
    start_s: Annotated[float | None, Key("Start of the part of the log to use.", unit="s")] = None
    end_s: Annotated[float | None, Key("End of the part of the log to use.", unit="s")] = None


@dataclass(frozen=True, eq=False)
class Campaign:
    """All that was tested together, and on what.

    Attributes
    ----------
    path : Path
        The campaign file.
    folder : Path
        Its folder, links followed; logs lie in it or below.
    name, baseline, rig, reference, materials, packs, runs, date, oil, duties
        The keys of the file.  `materials`, `packs` and `duties` are read-only mappings by
        name; `runs` keeps the order of the file, excluded runs included.
    notices : tuple of Notice
        What the reader found that did not stop it.
    inputs : tuple of InputFile
        The files read: campaign, rig, calibration records and their points.
    """

    path: Path
    folder: Path
    name: Annotated[str, Key("Name of the campaign.")]
    baseline: Annotated[str, Key("Material that the others are compared with.")]
    rig: Annotated[Rig, Key("Rig file.", kind=Kind.FILE, anywhere=True)]
    reference: Annotated[Reference, Key("Condition at which single numbers are quoted.")]
    materials: Annotated[Mapping[str, Material], Key("The materials, by name.")]
    packs: Annotated[Mapping[str, Pack], Key("The packs, by name.")]
    runs: Annotated[tuple[Run, ...], Key("The runs.")]
    date: Annotated[datetime.date | None, Key("Day of the runs that state none.")] = None
    oil: Annotated[Oil | None, Key("The oil.")] = None
    duties: Annotated[Mapping[str, Duty], Key("What packs go through in service, by name.")] = (
        field(default_factory=dict)
    )
    notices: tuple[Notice, ...] = ()
    inputs: tuple[InputFile, ...] = ()

    def __post_init__(self) -> None:
        for name in ("materials", "packs", "duties"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    @property
    def origins(self) -> Origins:
        """What the sources of uncertainty of this campaign come from."""
        histories = self.rig.histories.values()
        hashes = {file.role: file.sha256 for file in self.inputs}
        return Origins(
            {record.id: record.content_sha256 for records in histories for record in records},
            hashes["rig"],
            hashes["campaign"],
        )


def read_campaign(path: Path | str) -> Campaign:
    """Read a campaign, its rig and its calibration records.

    Parameters
    ----------
    path : Path
        campaign.toml, or the folder that holds it.

    Returns
    -------
    Campaign
        Complete and checked.  A run whose log is missing stays in `runs`, and a
        notice says so; so does one about a record out of date.

    Raises
    ------
    CampaignError
        When a file but a log is missing, or when a key is unknown, missing, or
        may not have its value.  The message names the file and the key.
    """
    given = Path(path)
    given = given / FILE_NAME if is_folder(given) else given
    if not is_file(given):
        raise CampaignError(
            "there is no such file",
            where=str(given),
            expected=f"{FILE_NAME} or the folder that holds it",
        )
    file = read_toml(given.parent.resolve() / given.name)
    place = file.place
    values = read_values(Campaign, file.table, place)
    values["reference"] = Reference(
        **read_values(Reference, values["reference"], place.inside("reference"))
    )
    if "oil" in values:
        values["oil"] = _read_oil(values["oil"], place.inside("oil"))
    values["materials"] = _read_materials(values["materials"], place.inside("materials"))
    _check_named(values["baseline"], values["materials"], "baseline", "material", place)
    values["duties"] = _read_duties(values.get("duties", {}), place.inside("duties"))
    values["packs"] = _read_packs(
        values["packs"], values["materials"], values["duties"], place.inside("packs")
    )
    values["runs"] = _read_runs(values["runs"], values["packs"], place)
    values["rig"] = read_rig(values["rig"])
    return Campaign(
        path=place.file,
        folder=place.file.parent,
        notices=_notices(values, place.file),
        inputs=_inputs(file, values["rig"]),
        **values,
    )


def _read_oil(table: object, place: Place) -> Oil:
    oil = Oil(**read_values(Oil, table, place))
    if oil.kinematic_viscosity_100c_mm2_s >= oil.kinematic_viscosity_40c_mm2_s:
        raise place.fault(
            f"is {oil.kinematic_viscosity_100c_mm2_s:g}",
            key="kinematic_viscosity_100c_mm2_s",
            expected=f"less than {oil.kinematic_viscosity_40c_mm2_s:g}, the value at 40 degC",
        )
    return oil


def _read_materials(tables: Mapping[str, Any], place: Place) -> dict[str, Material]:
    check_names(tables, place)
    materials = {}
    for name, table in tables.items():
        inside = place.inside(name)
        values = read_values(Material, table, inside)
        if "service" in values:
            limits = read_values(ServiceLimits, values["service"], inside.inside("service"))
            values["service"] = ServiceLimits(**limits)
        materials[name] = Material(name=name, **values)
    return materials


def _read_duties(tables: Mapping[str, Any], place: Place) -> dict[str, Duty]:
    check_names(tables, place)
    return {
        name: Duty(name=name, **read_values(Duty, table, place.inside(name)))
        for name, table in tables.items()
    }


def _read_packs(
    tables: Mapping[str, Any],
    materials: Mapping[str, Material],
    duties: Mapping[str, Duty],
    place: Place,
) -> dict[str, Pack]:
    check_names(tables, place)
    packs = {}
    for name, table in tables.items():
        inside = place.inside(name)
        values = read_values(Pack, table, inside)
        pack = Pack(name=name, **values)
        _check_named(pack.material, materials, "material", "material", inside)
        if pack.duty is not None:
            _check_named(pack.duty, duties, "duty", "duty", inside)
        check_pair(values, "spline_radius_mm", "spline_friction", inside)
        for other in ("thermocouple_depth_mm", "plate_conductivity_w_mk"):
            check_pair(values, "plate_thickness_mm", other, inside)
        if (
            pack.plate_thickness_mm
            and pack.thermocouple_depth_mm
            and (pack.thermocouple_depth_mm > pack.plate_thickness_mm / 2)
        ):
            raise inside.fault(
                f"is {pack.thermocouple_depth_mm:g}",
                key="thermocouple_depth_mm",
                expected=f"at most half of plate_thickness_mm, {pack.plate_thickness_mm:g}",
            )
        if pack.inner_radius_mm >= pack.outer_radius_mm:
            raise inside.fault(
                f"is {pack.inner_radius_mm:g}",
                key="inner_radius_mm",
                expected=f"less than outer_radius_mm, {pack.outer_radius_mm:g}",
            )
        packs[name] = pack
    return packs


def _read_runs(tables: list[Any], packs: Mapping[str, Pack], place: Place) -> tuple[Run, ...]:
    runs: dict[str, Run] = {}
    for number, table in enumerate(tables, start=1):
        named = isinstance(table, dict) and isinstance(table.get("id"), str)
        inside = place.inside("runs", table["id"]) if named else place.inside(f"runs[{number}]")
        run = Run(**read_values(Run, table, inside))
        _check_named(run.pack, packs, "pack", "pack", inside)
        twin = runs.setdefault(run.id.casefold(), run)
        if twin is not run:
            raise inside.fault(
                "stands twice" if twin.id == run.id else f"differs from {twin.id} in case only",
                key="id",
                expected="an id of its own for each run",
            )
        if run.start_s is not None and run.end_s is not None and run.start_s >= run.end_s:
            raise inside.fault(
                f"is {run.end_s:g}", key="end_s", expected=f"more than start_s, {run.start_s:g}"
            )
    return tuple(runs.values())


def _check_named(name: str, known: Mapping[str, object], key: str, word: str, place: Place) -> None:
    if name not in known:
        near = nearest(name, known)
        raise place.fault(
            f"there is no {word} '{name}'",
            key=key,
            expected="one of " + ", ".join(known),
            do=f"Did you mean {near}?" if near else "",
        )


def _notices(values: Mapping[str, Any], campaign_file: Path) -> tuple[Notice, ...]:
    used = [run for run in values["runs"] if run.exclude is None]
    parts = {run.id: LogPart(run.log, run.start_s, run.end_s) for run in used}
    days = {run.id: run.date or values.get("date") for run in used}
    histories = values["rig"].histories
    own = (notice for records in histories.values() for r in records for notice in r.notices)
    return (
        *log_notices(parts, campaign_file),
        *record_notices(histories, days, campaign_file),
        *_oil_notices(values.get("oil"), campaign_file),
        *dict.fromkeys(own),
    )


def _oil_notices(oil: Oil | None, campaign_file: Path) -> list[Notice]:
    index = oil.viscosity_index if oil is not None else None
    if index is None or LOW <= index <= HIGH:
        return []
    what = f"the two viscosities of the oil give a viscosity index of {index:.0f}"
    do = "Check both against the data sheet, and that they are in mm^2/s"
    return [Notice(Severity.WARNING, f"{campaign_file.name}, [oil]", what, do)]


def _inputs(file: TomlFile, rig: Rig) -> tuple[InputFile, ...]:
    found = [
        InputFile("campaign", file.place.file, file.sha256),
        InputFile("rig", rig.path, rig.sha256),
    ]
    for record in (r for records in rig.histories.values() for r in records):
        found.append(InputFile("calibration record", record.path, record.sha256))
        if record.points is not None:
            what = "certificate" if record.points.suffix.casefold() == ".xml" else "points"
            found.append(InputFile(f"calibration {what}", record.points, record.points_sha256))
    inspections = file.place.resolve("", INSPECTIONS)
    if inspections.is_file():
        found.append(InputFile("inspections", inspections, sha256(inspections)))
    return tuple(dict.fromkeys(found))
