"""A column becomes a channel only where name or unit make it plain, and what is written is TOML."""

import tomllib

import pytest

from rigdata.campaign.rig import LogSettings, read_rig
from rigdata.logs.block import Listed
from rigdata.logs.inspection import look_at
from rigdata.logs.proposal import rig_blocks, roles, stated_roles


def of(*columns):
    listed = [Listed(name, unit, True) for name, unit in columns]
    return {channel: column.name for channel, column in roles(listed).items()}


@pytest.mark.parametrize(
    ("columns", "found"),
    [
        ([("Clamp load", "kN"), ("Load limit", "kN")], {"clamp_load": "Clamp load"}),
        ([("M_1", "N·m"), ("Kraft", "N")], {"torque": "M_1", "clamp_load": "Kraft"}),
        ([("Slip speed [rpm]", "rpm")], {"slip_speed": "Slip speed [rpm]"}),
        ([("Drive", "rpm"), ("Case", "rpm")], {}),  # one of two speeds is not plain
        ([("Torque", "Nm"), ("Torque 2", "Nm")], {}),
        ([("Torque", "Nm"), ("Torque setpoint", "Nm")], {"torque": "Torque"}),
        ([("Torque", "mV/V")], {"torque": "Torque"}),
        ([("Torque", "degC")], {}),
        ([("Torque", "furlong")], {}),
        ([("Plate", "°C"), ("Oil", "°C")],
         {"plate_temperature": "Plate", "oil_temperature": "Oil"}),
        ([("T_plate", None)], {"plate_temperature": "T_plate"}),
        ([("Plate", None), ("Plate position", "mm")], {}),
        ([("TC plate", "mV"), ("CJ", "°C")],
         {"plate_temperature": "TC plate", "reference_junction_temperature": "CJ"}),
        ([("Oil pressure", "bar")], {}),
        ([("Cylinder pressure", "bar"), ("Pack height", "mm")],
         {"pack_height": "Pack height", "cylinder_pressure": "Cylinder pressure"}),
        ([("cell/Torque", "Nm")], {"torque": "cell/Torque"}),
        ([("Temperature", "degC"), ("T1", "mV/V")], {}),
    ],
)  # fmt: skip
def test_plain_columns(columns, found):
    assert of(*columns) == found


def test_the_blocks_are_a_rig_file_once_their_gaps_are_filled(write):
    names = "Time;Torque;Load;Slip speed;Plate temp;Spare"
    units = "s;Nm;kN;rpm;°C;V"
    rows = "".join(f"{i / 10:.1f};{i};1.5;{i};{i};0.1\n".replace(".", ",") for i in range(50))
    path = write(f"{names}\n{units}\n{rows}")
    look = look_at(path)
    blocks = rig_blocks("Time", look.dialect, look.offered, roles(look.offered))
    assert "# Not matched: 'Spare' [V]" in blocks
    assert "is needed" not in blocks
    assert max(map(len, blocks.splitlines())) <= 80
    lines = ["u = 0.1" if line.startswith("# u = ") else line for line in blocks.splitlines()]
    rig = write(
        'format = 1\nname = "bench"\ninertia_kg_m2 = 0.1\ninertia_u_kg_m2 = 0.01\n\n'
        + "\n".join(lines)
        + "\n",
        "rig.toml",
    )
    read = read_rig(rig)
    assert read.log == LogSettings("Time", delimiter=";", decimal=",", encoding="utf-8")
    assert read.channels["torque"].unit == "N*m"
    assert read.channels["clamp_load"].column == "Load"
    assert look_at(path, read.log).columns[0].last == 49.0


def test_the_order_of_a_date_is_stated_where_it_had_to_be_found_out(write):
    rows = "".join(f"14.03.2026 10:15:{i:02d};{i}\n" for i in range(50))
    look = look_at(write("Time;Torque\n" + rows))
    log = tomllib.loads(rig_blocks("Time", look.dialect, look.offered, {}))["log"]
    assert log["date_order"] == "dmy"


@pytest.mark.parametrize(
    "name", ['Torque"]\nx = 1', "Torque\x7f", "Torque\\", "Torque\x1b[31m", "'"]
)
def test_names_stay_names(name):
    columns = [Listed(name, "Nm", True), Listed(f"a{name}", "x\ny", True)]
    blocks = rig_blocks(name, None, columns, {"torque": columns[0]})
    assert tomllib.loads(blocks) == {
        "log": {"time_column": name},
        "channels": {"torque": {"column": name, "unit": "N*m"}},
    }


def test_columns_that_a_rig_file_names():
    columns = [Listed("Torque [Nm]", "Nm", True), Listed("Load", "N", True)]
    wanted = {"torque": "Torque", "clamp_load": "Laod"}
    found, notices = stated_roles(columns, wanted, where="R001.csv")
    assert {channel: column.name for channel, column in found.items()} == {"torque": "Torque [Nm]"}
    assert "clamp_load: there is no column 'Laod'; expected perhaps 'Load'" in str(notices[0])
