"""One planted fault at a time: the message names the file and the key."""

import re

import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.errors import CampaignError

C, R, K, P = "campaign.toml", "rig/rig.toml", "rig/records/TC-1.toml", "rig/records/TC-1.csv"
JUNCTION = 'unit = "degC"\nu = 0.3\n'  # how the rig file gives the reference junction

# file, what to replace, by what, where the message points, words that it must hold
FAULTS = {
    # keys that are unknown, missing or in another format
    "unknown top key": (C, "baseline =", "base_line =", "base_line", ["mean baseline"]),
    "unknown pack key": (
        C,
        "friction_faces",
        "friction_facess",
        "packs.A1.friction_facess",
        ["unknown key", "mean friction_faces"],
    ),
    "unknown run key": (C, 'pack = "A1"\n', 'pack = "A1"\nnotes = ""\n', "runs.R001.notes", []),
    "unknown log key": (R, "time_column", "time_colum", "log.time_colum", ["time_column"]),
    "unknown channel key": (R, "lag_s", "lag_ms", "channels.slip_speed.lag_ms", ["mean lag_s"]),
    "unknown channel": (R, "channels.torque]", "channels.torqe]", "channels.torqe", ["torque"]),
    "unknown record key": (K, "valid_until", "valid_to", "valid_to", ["valid_until"]),
    "key far from any": (C, "name =", "zzzz = 1\nname =", "zzzz", ["expected one of name"]),
    "no reference": (C, "[reference]", "[oil2]", "oil2", ["unknown key"]),
    "missing number": (C, "service_hours = 0\n", "", "packs.A1.service_hours", ["is missing"]),
    "missing radius uncertainty": (C, "radius_u_mm = 0.05\n", "", "packs.A1.radius_u_mm", []),
    "missing id": (C, 'id = "R002"\n', "", "runs[2].id", ["is missing"]),
    "missing plate": (
        C,
        'friction_plate = "plain steel"\n',
        "",
        "materials.plain.friction_plate",
        [],
    ),
    "no format": (C, "format = 1\n", "", "format", ["first line"]),
    "format 2": (R, "format = 1", "format = 2", "format", ["format 2 cannot be read"]),
    "format true": (K, "format = 1", "format = true", "format", ["cannot be read"]),
    # wrong types
    "text for number": (C, "= 62.0", '= "62.0"', "packs.A1.outer_radius_mm", ["without quotes"]),
    "true for number": (
        C,
        "service_hours = 0",
        "service_hours = true",
        "packs.A1.service_hours",
        [],
    ),
    "true for whole": (C, "faces = 8", "faces = true", "packs.A1.friction_faces", ["is true"]),
    "half a face": (C, "faces = 8", "faces = 8.5", "packs.A1.friction_faces", ["whole number"]),
    "number for text": (C, 'batch = "B7"', "batch = 7", "packs.A1.batch", ["is 7", "text"]),
    "text for date": (K, "= 2026-01-10", '= "2026-01-10"', "date", ["without quotes"]),
    "date with time": (C, "= 2026-03-03", "= 2026-03-03T10:00:00", "runs.R002.date", ["a date"]),
    "table for text": (R, 'column = "Load"', "column = {a = 1}", "channels.clamp_load.column", []),
    "list for table": (
        C,
        "[materials.plain]",
        "[[materials.plain]]",
        "materials.plain",
        ["a list"],
    ),
    "value for runs": (C, '[[runs]]\nid = "R001"', "[x]", "x", ["unknown key"]),
    "three-number range": (R, "[-3.0, 3.0]", "[-3, 0, 3]", "channels.torque.range", ["low, high"]),
    "range upside down": (R, "[-3.0, 3.0]", "[3, -3]", "channels.torque.range", ["lower number"]),
    # bounds
    "no face": (C, "faces = 8", "faces = 0", "packs.A1.friction_faces", ["at least 1"]),
    "area above one": (C, "= 0.9", "= 1.01", "packs.A1.contact_area_fraction", ["at most 1"]),
    "area zero": (C, "= 0.9", "= 0.0", "packs.A1.contact_area_fraction", ["above 0"]),
    "zero uncertainty": (C, "= 0.05", "= 0", "packs.A1.radius_u_mm", ["above 0", "[mm]"]),
    "negative hours": (C, "hours = 0", "hours = -1", "packs.A1.service_hours", ["at least 0"]),
    "nan": (C, "= 62.0", "= nan", "packs.A1.outer_radius_mm", ["not a finite number"]),
    "infinity": (R, "= 0.012", "= inf", "inertia_kg_m2", ["not a finite number"]),
    "overflow": (R, "= 0.012", "= 1e999", "inertia_kg_m2", ["not a finite number"]),
    "endless whole": (C, "faces = 8", f"faces = {10**400}", "packs.A1.friction_faces", ["finite"]),
    "colder than cold": (
        C,
        "temperature_c = 80",
        "temperature_c = -300",
        "reference.temperature_c",
        [],
    ),
    "degree 4": (K, "degree = 1", "degree = 4", "degree", ["at most 3"]),
    "coverage factor 0": (K, "factor = 2", "factor = 0", "coverage_factor", ["at least 1"]),
    # choices, names and units
    "state": (C, '"new"', '"New"', "packs.A1.state", ["mean 'new'"]),
    "procedure": (C, '"speed-sweep"', '"speed sweep"', "runs.R001.procedure", ["'speed-sweep'"]),
    "pressure law": (
        C,
        '"uniform-pressure"',
        '"uniform"',
        "packs.A1.pressure_law",
        ["uniform-wear"],
    ),
    "delimiter": (R, "[log]\n", '[log]\ndelimiter = ":"\n', "log.delimiter", [r"'\t'"]),
    "decimal as delimiter": (
        R,
        "[log]\n",
        '[log]\ndelimiter = ","\ndecimal = ","\n',
        "log.decimal",
        ["as the delimiter"],
    ),
    "encoding": (R, "[log]\n", '[log]\nencoding = "ansi-7"\n', "log.encoding", ["text encoding"]),
    "encoding of no text": (R, "[log]\n", '[log]\nencoding = "base64"\n', "log.encoding", []),
    "thermocouple type": (R, '"K"', '"S"', "channels.plate_temperature.thermocouple", ["'K'"]),
    "unknown unit": (R, '"rpm"', '"RPM"', "channels.slip_speed.unit", ["mean 'rpm'"]),
    "wrong unit": (R, '"kN"', '"bar"', "channels.clamp_load.unit", ["not a force", "N, kN, lbf"]),
    "thermocouple in degC": (
        R,
        'unit = "mV"\n',
        'unit = "degC"\n',
        "channels.plate_temperature.unit",
        ["not a voltage", "mV, V"],
    ),
    "logged unit not the record's": (
        R,
        '"mV/V"',
        '"V"',
        "channels.torque.unit",
        ["not a voltage ratio"],
    ),
    "applied unit": (K, '"N*m"', '"kN"', "applied_unit", ["not a torque"]),
    "indicated unit": (K, '"mV/V"', '"mv/V"', "indicated_unit", ["mean 'mV/V'"]),
    "slash in a name": (C, "[packs.A1]", '[packs."A/1"]', 'packs."A/1"', ["letter or digit"]),
    "formula as a name": (C, "[packs.A1]", '[packs."=A1"]', 'packs."=A1"', ["letter or digit"]),
    "colon in an id": (K, 'id = "TC-1"', 'id = "TC:1"', "id", ["letter or digit"]),
    "twins in case": (C, "[materials.rough]", "[materials.PLAIN]", "materials.PLAIN", ["plain"]),
    "empty text": (C, '"first look"', '" "', "name", ["is empty"]),
    "empty reason": (
        C,
        'procedure = "zero"',
        'procedure = "zero"\nexclude = ""',
        "runs.R002.exclude",
        [],
    ),
    # things that must agree
    "inner above outer": (C, "= 45.0", "= 62.0", "packs.A1.inner_radius_mm", ["outer_radius_mm"]),
    "no such material": (
        C,
        'material = "plain"',
        'material = "plian"',
        "packs.A1.material",
        ["mean plain"],
    ),
    "no such pack": (C, 'pack = "A1"', 'pack = "A2"', "runs.R001.pack", ["no pack 'A2'"]),
    "no such baseline": (C, '"plain"', '"steel"', "baseline", ["plain, rough"]),
    "same id": (C, '"R002"', '"R001"', "runs.R001.id", ["stands twice"]),
    "same id but case": (C, '"R002"', '"r001"', "runs.r001.id", ["in case only"]),
    "spline without friction": (
        C,
        "[packs.A1]\n",
        "[packs.A1]\nspline_radius_mm = 30\n",
        "packs.A1.spline_friction",
        ["spline_radius_mm"],
    ),
    "friction without spline": (
        C,
        "[packs.A1]\n",
        "[packs.A1]\nspline_friction = 0.1\n",
        "packs.A1.spline_radius_mm",
        ["spline_friction"],
    ),
    "end before start": (
        C,
        'procedure = "zero"',
        'procedure = "zero"\nstart_s = 5\nend_s = 5.0',
        "runs.R002.end_s",
        ["start_s, 5"],
    ),
    "oil thicker when hot": (C, "= 15.3", "= 150", "oil.kinematic_viscosity_100c_mm2_s", ["101"]),
    "valid before made": (K, "2027-01-10", "2025-01-10", "valid_until", ["2026-01-10 or later"]),
    # channels
    "no speed": (
        R,
        '[channels.slip_speed]\ncolumn = "Speed"\nunit = "rpm"\nu = 0.5',
        '[channels.pack_height]\ncolumn = "Speed"\nunit = "mm"\nu = 0.5',
        "channels.slip_speed",
        ["channel is missing"],
    ),
    "record on the wrong channel": (
        R,
        "[channels.torque]",
        "[channels.pack_height]",
        "channels.pack_height.calibration",
        ["TC-1 is of torque", "pack_height or length"],
    ),
    "no uncertainty": (
        R,
        "u = 0.5\n",
        "",
        "channels.slip_speed.u",
        ["is missing", "not taken as zero"],
    ),
    "no unit": (R, 'unit = "rpm"\n', "", "channels.slip_speed.unit", ["is missing"]),
    "no column": (R, 'column = "Load"\n', "", "channels.clamp_load.column", ["beside u"]),
    "record and u": (R, "range =", "u = 1\nrange =", "channels.torque.u", ["calibration"]),
    "record and thermocouple": (
        R,
        "thermocouple =",
        'calibration = "records/TC-1.toml"\nthermocouple =',
        "channels.plate_temperature.thermocouple",
        ["beside calibration", "one of"],
    ),
    "constant and column": (
        R,
        "u = 0.02",
        "u = 0.02\nconstant = 5",
        "channels.clamp_load.column",
        ["constant"],
    ),
    "constant without u": (
        R,
        'column = "Load"\nunit = "kN"\nu = 0.02',
        'unit = "kN"\nconstant = 5',
        "channels.clamp_load.u",
        ["is missing"],
    ),
    "constant torque": (
        R,
        'column = "Torque"\nunit = "mV/V"\ncalibration = "records/TC-1.toml"\nrange = [-3.0, 3.0]',
        'unit = "N*m"\nconstant = 5\nu = 1',
        "channels.torque.constant",
        ["measured"],
    ),
    "thermocouple on speed": (
        R,
        "u = 0.5",
        'thermocouple = "K"\nreference_junction = 20',
        "channels.slip_speed.thermocouple",
        ["not a temperature"],
    ),
    "no junction": (
        R,
        'reference_junction = "reference_junction_temperature"\n',
        "",
        "channels.plate_temperature.reference_junction",
        ["is missing"],
    ),
    "junction that is not there": (
        R,
        '= "reference_junction_temperature"',
        '= "oil_temperature"',
        "channels.plate_temperature.reference_junction",
        ["'oil_temperature'"],
    ),
    "junction that is a load": (
        R,
        '= "reference_junction_temperature"',
        '= "Load"',
        "channels.plate_temperature.reference_junction",
        ["clamp_load is not a temperature"],
    ),
    "junction on itself": (
        R,
        '= "reference_junction_temperature"',
        '= "Plate TC"',
        "channels.plate_temperature.reference_junction",
        ["thermocouple itself"],
    ),
    "resistance thermometer of another kind": (
        R,
        JUNCTION,
        'unit = "ohm"\nresistance_thermometer = "Pt500"\n',
        "channels.reference_junction_temperature.resistance_thermometer",
        ["'Pt100', 'Pt1000'"],
    ),
    "resistance thermometer in degC": (
        R,
        JUNCTION,
        'unit = "degC"\nresistance_thermometer = "Pt100"\n',
        "channels.reference_junction_temperature.unit",
        ["not a resistance", "ohm"],
    ),
    "ohm without a resistance thermometer": (
        R,
        JUNCTION,
        'unit = "ohm"\nu = 0.3\n',
        "channels.reference_junction_temperature.unit",
        ["not a temperature"],
    ),
    "resistance thermometer on speed": (
        R,
        'unit = "rpm"',
        'unit = "ohm"\nresistance_thermometer = "Pt100"',
        "channels.slip_speed.resistance_thermometer",
        ["not a temperature"],
    ),
    "resistance thermometer and thermocouple": (
        R,
        'thermocouple = "K"',
        'thermocouple = "K"\nresistance_thermometer = "Pt100"',
        "channels.plate_temperature.resistance_thermometer",
        ["beside thermocouple", "one of"],
    ),
    "resistance thermometer and record": (
        R,
        JUNCTION,
        'unit = "ohm"\nresistance_thermometer = "Pt100"\ncalibration = "records/TC-1.toml"\n',
        "channels.reference_junction_temperature.resistance_thermometer",
        ["beside calibration", "one of"],
    ),
    "resistance thermometer and constant": (
        R,
        JUNCTION,
        'unit = "ohm"\nresistance_thermometer = "Pt100"\nconstant = 5\nu = 1\n',
        "channels.reference_junction_temperature.constant",
        ["beside resistance_thermometer", "one of"],
    ),
    "resistance thermometer without a column": (
        R,
        'column = "Junction"\n' + JUNCTION,
        'unit = "ohm"\nresistance_thermometer = "Pt100"\n',
        "channels.reference_junction_temperature.column",
        ["beside resistance_thermometer"],
    ),
    "resistance thermometer with a junction": (
        R,
        JUNCTION,
        'unit = "ohm"\nresistance_thermometer = "Pt100"\nreference_junction = 20\n',
        "channels.reference_junction_temperature.reference_junction",
        ["does not go with resistance_thermometer"],
    ),
    "junction for no thermocouple": (
        R,
        "u = 0.5",
        "u = 0.5\nreference_junction = 20",
        "channels.slip_speed.reference_junction",
        ["Remove it"],
    ),
    "arm without u": (
        R,
        'unit = "mV/V"',
        'unit = "mV/V"\nlever_arm_mm = 250',
        "channels.torque.lever_arm_u_mm",
        ["lever_arm_mm"],
    ),
    "arm with a record of torque": (
        R,
        'unit = "mV/V"',
        'unit = "mV/V"\nlever_arm_mm = 250\nlever_arm_u_mm = 0.1',
        "channels.torque.calibration",
        ["of torque", "record of force"],
    ),
    "arm elsewhere": (
        R,
        "u = 0.02",
        "u = 0.02\nlever_arm_mm = 250\nlever_arm_u_mm = 0.1",
        "channels.clamp_load.lever_arm_mm",
        ["expected torque"],
    ),
    "piston elsewhere": (
        R,
        "u = 0.02",
        "u = 0.02\npiston_area_mm2 = 250\npiston_area_u_mm2 = 0.1",
        "channels.clamp_load.piston_area_mm2",
        ["expected cylinder_pressure"],
    ),
    "record of another quantity": (
        K,
        'quantity = "torque"\napplied_unit = "N*m"',
        'quantity = "force"\napplied_unit = "N"',
        "channels.torque.calibration",
        ["TC-1 is of force", "lever_arm_mm"],
    ),
    "no clamp load": (
        R,
        '[channels.clamp_load]\ncolumn = "Load"\nunit = "kN"',
        '[channels.cylinder_pressure]\ncolumn = "Load"\nunit = "bar"',
        "channels.clamp_load",
        ["is missing", "piston_area_mm2"],
    ),
    # files
    "missing rig": (C, "rig/rig.toml", "rig/rag.toml", "rig", ["no file 'rig/rag.toml'"]),
    "missing record": (
        R,
        "records/TC-1.toml",
        "TC-1.toml",
        "channels.torque.calibration",
        ["no file"],
    ),
    "missing points": (K, "TC-1.csv", "TC-2.csv", "points", ["no file 'TC-2.csv'"]),
    "backslash in a path": (
        C,
        '"rig/rig.toml"',
        r"'rig\rug.toml'",
        "rig",
        ["write the path with /"],
    ),
    "escape in a path": (C, "logs/R001.csv", r"C:\rig\new", "runs.R001.log", [r"'\r'", "single"]),
    "tab in a path": (C, "logs/R001.csv", r"logs\tR1.csv", "runs.R001.log", [r"'\t'", "single"]),
    "log above the folder": (C, "logs/R001.csv", "../R001.csv", "runs.R001.log", ["out of the"]),
    "log elsewhere": (C, "logs/R001.csv", "/etc/hostname", "runs.R001.log", ["out of the folder"]),
    "record above the rig": (
        R,
        "records/TC-1.toml",
        "../campaign.toml",
        "channels.torque.calibration",
        [],
    ),
    "folder for a rig": (C, "rig/rig.toml", "rig", "rig", ["no file 'rig'"]),
    "too few loads": (K, "degree = 1", "degree = 2", "points", ["3 distinct", "at least 4"]),
    # text that is no TOML, and CSV that is no record
    "decimal comma": (R, "0.012", "0,012", "line 3, column", ["decimal point"]),
    "bad escape": (C, "logs/R001.csv", r"C:\data\x.csv", "line 42, column", ["single quotes"]),
    "key twice": (C, 'name = "first', 'rig = "x"\nname = "first', "line 4, column", ["keep one"]),
    "table twice": (C, "[materials.rough]", "[materials.plain]", "line 21", ["keep one"]),
    "unclosed text": (C, 'name = "first look"', 'name = "first look', "line 2", ["is not TOML"]),
    "unknown column": (P, "indicated", "indicted", "line 1", ["'indicted'", "mean indicated"]),
    "missing column": (P, "series,direction,", "series,", "line 1", ["direction is missing"]),
    "column twice": (P, "series,direction,", "series,series,direction,", "line 1", ["twice"]),
    "semicolons": (P, "series,direction,", "series;direction;", "line 1", ["by commas"]),
    "sideways": (P, "1,up,250", "1,UP,250", "line 3", ["direction is 'UP'", "up or down"]),
    "no series": (P, "1,up,250", ",up,250", "line 3", ["series"]),
    "short row": (P, "1,up,500,2.0002", "1,up,500", "line 4", ["3 cells"]),
    "long row": (P, "1,up,500,2.0002", "1,up,500,2,0002", "line 4", ["5 cells"]),
    "comma number": (P, "1.0009", '"1,0009"', "line 5", ["indicated", "decimal point"]),
    "nan reading": (P, "1.0009", "nan", "line 5", ["indicated is 'nan'"]),
    "infinite load": (P, "500,", "1e999,", "line 4", ["applied is '1e999'"]),
    "underscore number": (P, "500,", "5_00,", "line 4", ["applied is '5_00'"]),
    "no reading": (P, "1.0009", "", "line 5", ["indicated is ''"]),
    "open quote": (P, "1.0009", '"1.0009', "line", ["is not CSV"]),
}


@pytest.mark.parametrize(("file", "old", "new", "where", "words"), FAULTS.values(), ids=FAULTS)
def test_the_message_names_file_and_key(bench, file, old, new, where, words):
    bench.spoil(file, old, new)
    with pytest.raises(CampaignError) as caught:
        bench.read()
    text = str(caught.value)
    told = {"channels.torque.calibration": R}.get(where, file)
    assert re.match(re.escape(f"{bench.path(told)}, {where}") + r"(?![\w.])", text), text
    assert [word for word in words if word not in text] == [], text
    assert "\n" not in text


def test_the_sound_campaign_has_no_fault(bench):
    assert bench.read().notices == ()


def test_every_file_is_spoilt_in_some_way():
    assert {fault[0] for fault in FAULTS.values()} == {C, R, K, P}


def test_a_file_that_is_not_utf8_is_told_with_its_line(bench):
    text = bench.path(C).read_text().replace("first batch", "größer")
    bench.path(C).write_bytes(text.encode("cp1252"))
    with pytest.raises(CampaignError, match=r"campaign\.toml, line 24: byte 0xf6 is not UTF-8"):
        bench.read()


def test_no_campaign_at_all(tmp_path):
    with pytest.raises(CampaignError, match=r"campaign\.toml: there is no such file"):
        read_campaign(tmp_path)
    with pytest.raises(CampaignError, match=r"other\.toml: there is no such file"):
        read_campaign(tmp_path / "other.toml")
