"""Which column is which channel of a rig, and the rig.toml that says so."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from rigdata.errors import LogError, Notice, Severity
from rigdata.logs.block import Listed
from rigdata.logs.dialect import Dialect
from rigdata.logs.header import column_index, split_name
from rigdata.quantities import CHANNELS, QUANTITIES, UNITS, canonical_unit
from rigdata.storage.toml_text import TomlValue, toml_table

NEEDED = ("torque", "clamp_load", "slip_speed", "plate_temperature")

# A name is plain when it matches one of these; common usage, no source.
_NAMES = {
    "torque": r"torque|drehmoment",
    "clamp_load": r"(clamp|axial|normal|pack).*(load|force)|^(load|force)$",
    "slip_speed": r"slip|^speed$|diff.*speed",
    "plate_temperature": r"plate|disc|lining",
    "oil_temperature": r"oil|sump|bath",
    "reference_junction_temperature": r"(reference|ref|cold).*junction|^cjc?\b",
    "pack_height": r"(pack|stack).*(height|thickness)",
    "cylinder_pressure": r"(cylinder|piston).*pressure|^pressure$",
}
_TEMPERATURE = re.compile(r"temp|^t\b|\bt$|\btc\b|thermo")  # where the unit does not say so
_NOT_MEASURED = re.compile(r"set.?point|target|demand|command|limit|nominal")
# By its unit alone a column is plain where it is the only one of that dimension.
_BY_UNIT = ("torque", "clamp_load", "slip_speed")
_ELECTRICAL = ("voltage", "voltage ratio")


def roles(columns: Sequence[Listed]) -> dict[str, Listed]:
    """Return the columns that are plainly a channel of a rig, by the channel's name."""
    found: dict[str, Listed] = {}
    for channel, pattern in _NAMES.items():
        named = [
            column
            for column in columns
            if re.search(pattern, _plain(column.name))
            and not _NOT_MEASURED.search(_plain(column.name))
            and _may_hold(column, channel)
        ]
        if len(named) == 1 and named[0] not in found.values():
            found[channel] = named[0]
    for channel in _BY_UNIT:
        dimension = QUANTITIES[channel].dimension
        alike = [column for column in columns if _dimension(column) == dimension]
        if channel not in found and len(alike) == 1 and alike[0] not in found.values():
            found[channel] = alike[0]
    return {channel: found[channel] for channel in CHANNELS if channel in found}


def stated_roles(
    columns: Sequence[Listed], wanted: Mapping[str, str], *, where: str
) -> tuple[dict[str, Listed], list[Notice]]:
    """Return the columns that a rig file names, and a warning for each that is not there."""
    found, notices = {}, []
    names = [column.name for column in columns]
    for channel, column in wanted.items():
        try:
            found[channel] = columns[column_index(names, column, where=where)]
        except LogError as error:
            what = f"{channel}: {error.what}; expected {error.expected}"
            notices.append(Notice(Severity.WARNING, where, what, f"{error.do}."))
    return found, notices


def rig_blocks(
    time_column: str,
    dialect: Dialect | None,
    columns: Sequence[Listed],
    chosen: Mapping[str, Listed],
) -> str:
    """Return ``[log]`` and ``[channels]`` of a rig.toml as far as a log tells them.

    Parameters
    ----------
    time_column : str
        Column of the time.
    dialect : Dialect or None
        How the log is written, where it is text.
    columns : sequence of Listed
        Columns of numbers.
    chosen : mapping of str to Listed
        Column of each channel, as `roles` finds them.
    """
    log: dict[str, TomlValue] = {"time_column": time_column}
    if dialect is not None:
        log |= {
            "delimiter": dialect.delimiter,
            "decimal": dialect.decimal,
            "encoding": dialect.encoding.removesuffix("-sig"),
        }
        if dialect.clock is not None and dialect.clock.order != "ymd":
            log["date_order"] = dialect.clock.order
    parts = [toml_table("[log]", log)]
    for channel, column in chosen.items():
        unit = _unit(column)
        keys: dict[str, TomlValue] = {"column": column.name}
        keys |= {"unit": unit} if unit else {}
        parts.append(toml_table(f"[channels.{channel}]", keys) + _open(channel, unit))
    rest = [
        repr(column.name) + (f" [{column.unit}]" if column.unit else "")
        for column in columns
        if column not in chosen.values() and column.name != time_column
    ]
    missing = [channel for channel in NEEDED if channel not in chosen]
    open_ends = [f"# [channels.{channel}] is needed: name its column." for channel in missing]
    open_ends += [f"# Not matched: {_one_line(name)}" for name in rest]
    parts += ["".join(f"{line}\n" for line in open_ends)] if open_ends else []
    return "\n".join(parts)


def _open(channel: str, unit: str | None) -> str:
    """Return what the log cannot tell about a channel, as comments."""
    dimension = QUANTITIES[channel].dimension
    lines = []
    if unit is None:
        choices = [u.symbol for u in UNITS.values() if u.dimension in (dimension, *_ELECTRICAL)]
        lines.append(f"unit = one of {', '.join(choices)}")
    lines.append("and where its values come from, one of these:")
    lines.append(f'calibration = "records/{channel}.toml"')
    if dimension == "temperature" and unit in (None, "mV", "V"):
        lines.append('thermocouple = "K", with reference_junction')
    if dimension == "temperature" and unit in (None, "ohm"):
        lines.append('resistance_thermometer = "Pt100"')
    if unit is None or UNITS[unit].dimension == dimension:
        lines.append(f"u = standard uncertainty{f' in {unit}' if unit else ''}")
    return "".join(f"# {line}\n" for line in lines)


def _one_line(text: str) -> str:
    """Keep what a log calls a column inside its comment."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _plain(name: str) -> str:
    return " ".join(split_name(name)[0].rpartition("/")[2].replace("_", " ").casefold().split())


def _unit(column: Listed) -> str | None:
    return canonical_unit(column.unit) if column.unit else None


def _dimension(column: Listed) -> str:
    unit = _unit(column)
    return UNITS[unit].dimension if unit else ""


def _may_hold(column: Listed, channel: str) -> bool:
    """Tell whether the unit of a column, where it has one, fits the channel."""
    dimension = QUANTITIES[channel].dimension
    fitting = {dimension, *_ELECTRICAL}
    if channel == "torque":
        fitting.add("force")  # on a lever arm
    if dimension == "temperature":
        fitting.add("resistance")
        if _dimension(column) != dimension and not _TEMPERATURE.search(_plain(column.name)):
            return channel == "reference_junction_temperature" and column.unit is None
    return column.unit is None or _dimension(column) in fitting
