"""The rig: its channels, its rotating inertia and its log dialect."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from rigdata.campaign.channel_checks import check_channel
from rigdata.campaign.files import Place, read_toml
from rigdata.campaign.history import in_order
from rigdata.campaign.keys import Key, Kind
from rigdata.campaign.reading import check_known, read_values
from rigdata.campaign.records import CalibrationRecord, read_record
from rigdata.quantities import CHANNELS, UNITS

THERMOCOUPLES = ("K", "N", "J", "T")
RESISTANCE_THERMOMETERS = ("Pt100", "Pt1000")
NEEDED = ("torque", "slip_speed", "plate_temperature")


@dataclass(frozen=True)
class LogSettings:
    """How the logs are written; what is None is detected."""

    time_column: Annotated[str, Key("Column that holds the time.")]
    delimiter: Annotated[
        str | None, Key("Character between the columns.", choices=(",", ";", "\t", "|", " "))
    ] = None
    decimal: Annotated[str | None, Key("Decimal mark.", choices=(".", ","))] = None
    encoding: Annotated[str | None, Key("Text encoding, such as utf-8 or cp1252.")] = None
    skip_lines: Annotated[
        int | None, Key("Lines before the row of column names.", low=0, high=1000)
    ] = None
    units_line: Annotated[
        int | None,
        Key("Line of the units row, counted from 1; 0 when there is none.", low=0, high=1000),
    ] = None
    date_order: Annotated[
        str | None,
        Key(
            "Order of day, month and year in the dates of the time column, where the dates "
            "leave it in doubt.",
            choices=("dmy", "mdy", "ymd"),
        ),
    ] = None
    missing_values: Annotated[
        tuple[float, ...] | None,
        Key(
            "Numbers that stand for no reading, in place of -9999, -99999 and -999999; an empty "
            "list where every number is one."
        ),
    ] = None


@dataclass(frozen=True, eq=False)
class Channel:
    """One measured quantity over time and where its values come from.

    The values come from a column with a calibration record, a column with a
    thermocouple or a resistance thermometer, a column in a unit with its standard
    uncertainty, or they are a constant.  `name` is one of
    `rigdata.quantities.CHANNELS`; the other attributes are the keys of the file,
    None where left out.  Where `calibration` lists several records, the attribute
    holds the newest and `earlier` the ones before it, oldest first.
    """

    name: str
    column: Annotated[str | None, Key("Column of the log.")] = None
    unit: Annotated[
        str | None,
        Key("Unit of the logged or constant value.", choices=tuple(UNITS), required=True),
    ] = None
    calibration: Annotated[
        CalibrationRecord | None,
        Key(
            "Calibration record of the sensor, a TOML file or a digital calibration certificate "
            "with a TOML file beside it; or a list of all its records over time, of which each "
            "run uses those before and after its date.",
            kind=Kind.FILES,
        ),
    ] = None
    thermocouple: Annotated[str | None, Key("Thermocouple type.", choices=THERMOCOUPLES)] = None
    reference_junction: Annotated[
        str | float | None,
        Key(
            "Reference junction: a channel, by its name or column, or a temperature.",
            unit="degC",
            above=-273.15,
        ),
    ] = None
    resistance_thermometer: Annotated[
        str | None,
        Key(
            "Platinum resistance thermometer of IEC 60751, logged in ohm.",
            choices=RESISTANCE_THERMOMETERS,
        ),
    ] = None
    u: Annotated[
        float | None,
        Key(
            "Standard uncertainty, in the unit of the value (in K for a thermocouple or a "
            "resistance thermometer).",
            above=0,
        ),
    ] = None
    constant: Annotated[float | None, Key("Value of a channel that was not logged.")] = None
    lever_arm_mm: Annotated[
        float | None,
        Key("Lever arm that makes a torque of a force.", unit="mm", above=0),
    ] = None
    lever_arm_u_mm: Annotated[
        float | None, Key("Standard uncertainty of the lever arm.", unit="mm", above=0)
    ] = None
    lag_s: Annotated[
        float, Key("How much later than the truth the channel shows; late is positive.", unit="s")
    ] = 0.0
    time_constant_s: Annotated[
        float, Key("Time constant of a first-order lag to be undone.", unit="s", low=0)
    ] = 0.0
    low_pass_hz: Annotated[
        float,
        Key(
            "Corner (-3 dB) of a low-pass filter without delay, over the frames; faults are looked "
            "for before it, and breakaways are read without it, whose peak it would flatten.",
            unit="Hz",
            low=1.0,
        ),
    ] = 0.0
    range: Annotated[
        tuple[float, float] | None,
        Key("Range of the channel in its logged unit; values at its ends are saturated."),
    ] = None
    piston_area_mm2: Annotated[
        float | None,
        Key("Piston area that makes a clamp load of a pressure.", unit="mm^2", above=0),
    ] = None
    piston_area_u_mm2: Annotated[
        float | None, Key("Standard uncertainty of the piston area.", unit="mm^2", above=0)
    ] = None
    earlier: tuple[CalibrationRecord, ...] = ()

    @property
    def records(self) -> tuple[CalibrationRecord, ...]:
        """All calibration records of the sensor, oldest first; empty where it has none."""
        return (*self.earlier, self.calibration) if self.calibration else ()


@dataclass(frozen=True, eq=False)
class Rig:
    """The bench.

    Attributes
    ----------
    path : Path
        The rig file.
    name, inertia_kg_m2, inertia_u_kg_m2, log, channels
        The keys of the file.
    sha256 : str
        Hash of the rig file.
    """

    path: Path
    name: Annotated[str, Key("Name of the rig.")]
    inertia_kg_m2: Annotated[
        float,
        Key("Inertia between the friction faces and the torque cell.", unit="kg m^2", low=0),
    ]
    inertia_u_kg_m2: Annotated[
        float, Key("Standard uncertainty of the inertia.", unit="kg m^2", above=0)
    ]
    log: Annotated[LogSettings, Key("How the logs are written.")]
    channels: Annotated[
        Mapping[str, Channel], Key("The channels, by name: " + ", ".join(CHANNELS) + ".")
    ]
    sha256: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "channels", MappingProxyType(dict(self.channels)))

    @property
    def histories(self) -> dict[str, tuple[CalibrationRecord, ...]]:
        """All calibration records of each channel that has one, oldest first."""
        return {c.name: c.records for c in self.channels.values() if c.records}


def read_rig(path: Path) -> Rig:
    """Read a rig file and the calibration records that it names.

    Parameters
    ----------
    path : Path
        The rig file.

    Returns
    -------
    Rig
        The rig, values in the units of its file.

    Raises
    ------
    CampaignError
        When a key or a record is missing or may not have its value, when a channel
        does not say where its values come from, or when one is missing that the
        friction coefficient needs.
    """
    file = read_toml(path)
    values = read_values(Rig, file.table, file.place)
    log_place = file.place.inside("log")
    values["log"] = LogSettings(**read_values(LogSettings, values["log"], log_place))
    _check_dialect(values["log"], log_place)
    values["channels"] = _read_channels(values["channels"], file.place.inside("channels"))
    return Rig(path=path, sha256=file.sha256, **values)


def _read_channels(tables: dict[str, Any], place: Place) -> dict[str, Channel]:
    for name in tables:
        check_known(name, CHANNELS, place, word="channel")
    read = {name: read_values(Channel, table, place.inside(name)) for name, table in tables.items()}
    for name, values in read.items():
        if "calibration" in values:
            inside = place.inside(name)
            records = _read_records(values["calibration"], inside)
            values |= {"calibration": records[-1], "earlier": records[:-1]}
        check_channel(name, values, read, place.inside(name))
    channels = {name: Channel(name=name, **values) for name, values in read.items()}
    _check_together(channels, place)
    return channels


def _read_records(paths: tuple[Path, ...], place: Place) -> tuple[CalibrationRecord, ...]:
    """Read the records of one channel; they must be of one sensor, one for a day and role."""
    records = in_order([read_record(path) for path in paths])
    for earlier, later in pairwise(records):
        if later.sensor != earlier.sensor:
            raise place.fault(
                f"record {earlier.id} is of {earlier.sensor}, record {later.id} of {later.sensor}",
                key="calibration",
                expected="the records of one sensor, named alike",
            )
        if (later.date, later.role) == (earlier.date, earlier.role):
            raise place.fault(
                f"records {earlier.id} and {later.id} are both {later.role} of {later.date}",
                key="calibration",
                expected="one record for each day and role",
            )
    return records


def _check_together(channels: dict[str, Channel], place: Place) -> None:
    """Check that the channels give a friction coefficient, and that records do not clash."""
    for name in NEEDED:
        if name not in channels:
            raise place.fault(
                "the channel is missing", key=name, expected=", ".join((*NEEDED, "clamp_load"))
            )
    pressure = channels.get("cylinder_pressure")
    if "clamp_load" not in channels and (pressure is None or pressure.piston_area_mm2 is None):
        raise place.fault(
            "the channel is missing",
            key="clamp_load",
            expected="clamp_load, or cylinder_pressure with piston_area_mm2 and piston_area_u_mm2",
        )
    owners: dict[str, tuple[str, Path]] = {}
    for channel in channels.values():
        for record in channel.records:
            name, path = owners.setdefault(record.id, (channel.name, record.path))
            if path != record.path:
                other = "another of its records" if name == channel.name else f"that of {name}"
                raise place.inside(channel.name).fault(
                    f"its record has the id {record.id}, as {other}",
                    key="calibration",
                    expected="one id for one record",
                )


def _check_dialect(log: LogSettings, place: Place) -> None:
    if log.delimiter is not None and log.delimiter == log.decimal:
        raise place.fault(
            f"is '{log.decimal}', as the delimiter", key="decimal", expected="another character"
        )
    try:
        "".encode(log.encoding or "utf-8")
    except LookupError:
        raise place.fault(
            f"'{log.encoding}' is not a text encoding",
            key="encoding",
            expected="a name such as utf-8, utf-16 or cp1252",
        ) from None
