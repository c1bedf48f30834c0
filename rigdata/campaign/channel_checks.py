"""Whether a channel says where its values come from, in units that fit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rigdata.campaign.files import Place, shown
from rigdata.campaign.reading import check_pair
from rigdata.campaign.records import CalibrationRecord
from rigdata.quantities import QUANTITIES, UNITS, unit_named

# Where values come from: the keys that each way needs, and those that it rules out.
_NEEDS = {
    "calibration": ("column",),
    "thermocouple": ("column", "reference_junction"),
    "resistance_thermometer": ("column",),
    "constant": ("u",),
    "u": ("column",),
}
_RULES_OUT = {
    "calibration": ("u", "reference_junction"),
    "thermocouple": (),
    "resistance_thermometer": ("reference_junction",),
    "constant": (
        "column",
        "reference_junction",
        "lag_s",
        "time_constant_s",
        "low_pass_hz",
        "range",
    ),
    "u": ("reference_junction",),
}
_WAYS = "calibration, thermocouple, resistance_thermometer, constant with u, or column with u"

# The thermometers, and the dimension that they are logged in.
_THERMOMETERS = {"thermocouple": "voltage", "resistance_thermometer": "resistance"}

# The keys that turn one quantity into another, and the channel they belong to.
_CONVERSIONS = {
    ("lever_arm_mm", "lever_arm_u_mm"): "torque",
    ("piston_area_mm2", "piston_area_u_mm2"): "cylinder_pressure",
}


def check_channel(
    name: str, values: Mapping[str, Any], channels: Mapping[str, Any], place: Place
) -> None:
    """Check the values of one channel against each other.

    Parameters
    ----------
    name : str
        The channel.
    values : mapping
        Its keys as `rigdata.campaign.reading.read_values` gives them, with the
        calibration records read.
    channels : mapping
        The keys of every channel of the rig.
    place : Place
        The channel's table, for messages.

    Raises
    ------
    CampaignError
        When the values come from none or more than one of `calibration`,
        `thermocouple`, `resistance_thermometer`, `constant` with `u` and a column
        with `u`; when keys do not belong together; or when a unit measures the
        wrong thing.
    """
    for (value, u), owner in _CONVERSIONS.items():
        check_pair(values, value, u, place)
        if value in values and name != owner:
            raise place.fault("does not go with this channel", key=value, expected=owner)
    way = _check_way(values, place)
    dimension = QUANTITIES[name].dimension
    if "lever_arm_mm" in values:
        dimension = "force"
    unit_place = f"{shown(place.file)}, {place.table}.unit"
    if way == "calibration":
        for record in (*values.get("earlier", ()), values["calibration"]):
            _check_record(name, record, dimension, "lever_arm_mm" in values, place)
            logged = UNITS[record.indicated_unit].dimension
            unit_named(values["unit"], logged, where=unit_place)
    elif way in _THERMOMETERS:
        if dimension != "temperature":
            raise place.fault(f"{name} is not a temperature", key=way)
        unit_named(values["unit"], _THERMOMETERS[way], where=unit_place)
        if way == "thermocouple":
            _check_junction(name, values["reference_junction"], channels, place)
    else:
        unit_named(values["unit"], dimension, where=unit_place)
    if way == "constant" and name == "torque":
        raise place.fault("torque must be measured", key=way, expected="a column")


def _check_way(values: Mapping[str, Any], place: Place) -> str:
    """Return the one key that says where the values come from."""
    named = [way for way in _NEEDS if way != "u" and way in values]
    if len(named) > 1:
        raise place.fault(f"stands beside {named[0]}", key=named[1], expected=f"one of {_WAYS}")
    way = named[0] if named else "u"
    if way not in values:
        raise place.fault(
            "the key is missing",
            key="u",
            expected=f"one of {_WAYS}",
            do="State the standard uncertainty; a missing one is not taken as zero",
        )
    for key in _RULES_OUT[way]:
        if key in values:
            beside = "a column with u" if way == "u" else way
            raise place.fault(f"does not go with {beside}", key=key, do="Remove it")
    for key in _NEEDS[way]:
        if key not in values:
            raise place.fault("the key is missing", key=key, expected=f"{key} beside {way}")
    return way


def _check_record(
    name: str, record: CalibrationRecord, dimension: str, on_arm: bool, place: Place
) -> None:
    accepted = [dimension] if on_arm else list(dict.fromkeys((name, dimension)))
    if record.quantity not in accepted:
        arm = "lever_arm_mm and lever_arm_u_mm make a torque of a force"
        raise place.fault(
            f"record {record.id} is of {record.quantity}",
            key="calibration",
            expected="a record of " + " or ".join(accepted),
            do=arm if name == "torque" else "",
        )


def _check_junction(
    name: str, junction: str | float, channels: Mapping[str, Any], place: Place
) -> None:
    """Check that a reference junction given as text is a channel, by its name or its column."""
    if not isinstance(junction, str):
        return
    meant = next((n for n in channels if junction in (n, channels[n].get("column"))), None)
    if meant is None:
        what = f"no channel of this file has the name or the column '{junction}'"
    elif meant == name or "thermocouple" in channels[meant]:
        what = f"channel {meant} is a thermocouple itself"
    elif QUANTITIES[meant].dimension != "temperature":
        what = f"channel {meant} is not a temperature"
    else:
        return
    raise place.fault(
        what,
        key="reference_junction",
        expected="another temperature channel, or a number in degC",
        do="Describe the column as channel reference_junction_temperature, with its unit and u",
    )
