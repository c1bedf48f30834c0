"""The declarations that the readers and a reference of the files share."""

import dataclasses
import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import pytest

from rigdata.campaign.campaign import Campaign, Material, Oil, Pack, Reference, Run
from rigdata.campaign.certificate import CertificateKeys
from rigdata.campaign.files import Place
from rigdata.campaign.keys import Key, Kind, keys_of
from rigdata.campaign.reading import read_values
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Channel, LogSettings, Rig
from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.errors import CampaignError

TABLES = {
    Campaign: "name rig baseline date reference oil duties materials packs runs",
    Duty: "sliding_power_w clamp_load_n hours_per_year note",
    ServiceLimits: "friction_wear_limit_mm mating_wear_limit_mm least_mu friction_density_kg_m3 "
    "mating_density_kg_m3",
    Reference: "slip_speed_m_s temperature_c pressure_mpa dwell_s",
    Oil: "name kinematic_viscosity_40c_mm2_s kinematic_viscosity_100c_mm2_s density_15c_kg_m3",
    Material: "friction_plate mating_plate note service",
    Pack: "material batch state service_hours friction_faces outer_radius_mm inner_radius_mm "
    "radius_u_mm contact_area_fraction pressure_law spline_radius_mm spline_friction "
    "plate_thickness_mm thermocouple_depth_mm plate_conductivity_w_mk duty sliding_work_mj",
    Run: "id pack procedure log date remark exclude start_s end_s",
    Rig: "name inertia_kg_m2 inertia_u_kg_m2 log channels",
    LogSettings: "time_column delimiter decimal encoding skip_lines units_line date_order "
    "missing_values",
    Channel: "column unit calibration thermocouple reference_junction resistance_thermometer u "
    "constant lever_arm_mm lever_arm_u_mm lag_s time_constant_s low_pass_hz range piston_area_mm2 "
    "piston_area_u_mm2",
    CalibrationRecord: "id sensor quantity applied_unit indicated_unit date valid_until "
    "reference_expanded_u_percent coverage_factor temperature_c degree points role "
    "indicated_after_30s indicated_after_300s",
    CertificateKeys: "certificate valid_until degree role id sensor temperature_c applied "
    "indicated measurement reference_expanded_u_percent coverage_factor",
}
MAY_BE_LEFT_OUT = {
    Campaign: "date oil duties",
    Duty: "hours_per_year note",
    ServiceLimits: "friction_wear_limit_mm mating_wear_limit_mm least_mu friction_density_kg_m3 "
    "mating_density_kg_m3",
    Oil: "density_15c_kg_m3",
    Reference: "dwell_s",
    Material: "note service",
    Pack: "spline_radius_mm spline_friction plate_thickness_mm thermocouple_depth_mm "
    "plate_conductivity_w_mk duty sliding_work_mj",
    Run: "date remark exclude start_s end_s",
    LogSettings: "delimiter decimal encoding skip_lines units_line date_order missing_values",
    Channel: TABLES[Channel].replace("unit ", ""),
    CalibrationRecord: "role indicated_after_30s indicated_after_300s",
    CertificateKeys: TABLES[CertificateKeys].replace("certificate valid_until degree ", ""),
}


@pytest.mark.parametrize("cls", TABLES)
def test_the_keys_are_those_of_the_file_format(cls):
    fields = keys_of(cls)
    assert {field.name for field in fields} == set(TABLES[cls].split())
    optional = {field.name for field in fields if not field.required}
    assert optional == set(MAY_BE_LEFT_OUT.get(cls, "").split())


@pytest.mark.parametrize("cls", TABLES)
def test_every_key_can_be_documented(cls):
    for field in keys_of(cls):
        assert field.key.doc.endswith("."), field.name
        assert field.expected
        assert field.meaning.startswith(field.expected)
        unit_in_name = any(
            field.name.endswith(end)
            for end in (
                "_mm",
                "_mm2",
                "_s",
                "_c",
                "_mpa",
                "_m_s",
                "_kg_m2",
                "_kg_m3",
                "_hours",
                "_w_mk",
                "_w",
                "_n",
                "_mj",
                "_year",
                "_hz",
            )
        )
        assert bool(field.key.unit) == unit_in_name or field.name in (
            "reference_expanded_u_percent",
            "reference_junction",
        ), field.name


@pytest.mark.parametrize("cls", [Pack, Channel, CalibrationRecord])
def test_units_in_names_and_in_words_agree(cls):
    endings = {"mm": "_mm", "mm^2": "_mm2", "s": "_s", "h": "_hours", "degC": "_c"}
    for field in keys_of(cls):
        if field.key.unit in endings and field.name != "reference_junction":
            assert field.name.endswith(endings[field.key.unit])


@dataclass(frozen=True)
class Sample:
    given: str
    text: Annotated[str, Key("Text.", pattern="[a-z]+", pattern_words="small letters")]
    number: Annotated[float, Key("Number.", unit="mm", above=0, high=5)]
    whole: Annotated[int, Key("Whole.", low=1, below=9)] = 3
    pair: Annotated[tuple[float, float] | None, Key("Pair.", low=-5, high=5)] = None
    either: Annotated[str | float | None, Key("Either.", above=-1)] = None
    day: Annotated[datetime.date | None, Key("Day.")] = None
    free: Annotated[str, Key("Free.", free=True)] = ""
    file: Annotated[Path | None, Key("File.", may_be_absent=True)] = None


PLACE = Place(Path("some") / "file.toml", "top")
SOUND = {"text": "abc", "number": 2}


def read(**keys):
    return read_values(Sample, SOUND | keys, PLACE)


def test_the_words_of_a_key():
    text, number, whole, *_ = keys_of(Sample)
    assert (text.kind, number.kind, whole.kind) == (Kind.TEXT, Kind.NUMBER, Kind.WHOLE)
    assert text.expected == "text, small letters"
    assert number.expected == "a number, above 0 and at most 5 [mm]"
    assert whole.meaning == "a whole number, at least 1 and below 9: whole"
    assert (whole.required, whole.default) == (False, 3)
    assert [field.name for field in keys_of(Sample)] == [
        field.name for field in dataclasses.fields(Sample)[1:]
    ]


def test_values_come_as_the_fields_hold_them():
    assert read() == {"text": "abc", "number": 2.0}
    assert isinstance(read()["number"], float)
    assert isinstance(read(whole=8)["whole"], int)
    assert read(pair=[-5, 5])["pair"] == (-5.0, 5.0)
    assert read(either="x")["either"] == "x"
    assert read(either=4)["either"] == 4.0
    assert read(free="")["free"] == ""
    assert read(free="two\n\tlines")["free"] == "two\n\tlines"
    assert read(file="below/x.csv")["file"] == Path("some/below/x.csv").resolve()


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"number": 0}, "top.number: is 0; expected a number, above 0 and at most 5 [mm]."),
        ({"number": 5.0000001}, "top.number"),
        ({"number": True}, "is true"),
        ({"number": [1]}, "is a list"),
        ({"whole": 9}, "top.whole"),
        ({"whole": 2.0}, "a whole number"),
        ({"pair": [-5, 5.1]}, "top.pair: is 5.1"),
        ({"pair": [1, True]}, "top.pair: is a list"),
        ({"pair": [1, 1]}, "lower number first"),
        ({"pair": [float("nan"), 1]}, "not a finite number"),
        ({"either": -1}, "top.either"),
        ({"either": ""}, "is empty"),
        ({"either": False}, "text or a number"),
        ({"text": "ABC"}, "is the text 'ABC'; expected text, small letters"),
        ({"text": "abc\n"}, r"control character '\n'"),
        ({"text": "x" * 500 + "1"}, "is a long text"),
        ({"free": "two\n\rlines"}, r"control character '\r'"),
        ({"free": "bell\x7f"}, r"control character '\x7f'"),
        ({"day": datetime.datetime(2026, 3, 1)}, "top.day"),
        ({"day": datetime.time(3)}, "(a time)"),
        ({"file": "../x.csv"}, "top.file: '../x.csv' leads out"),
        ({"file": ""}, "is empty"),
        ({"given": "x"}, "top.given: unknown key"),
    ],
    ids=str,
)
def test_values_that_do_not_fit(keys, words):
    with pytest.raises(CampaignError) as caught:
        read(**keys)
    assert words in str(caught.value)


def test_a_table_that_is_none():
    with pytest.raises(CampaignError, match="top: is 3; expected a table"):
        read_values(Sample, 3, PLACE)
