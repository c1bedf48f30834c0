"""A minimal valid campaign on disk, and a way to spoil it."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from rigdata.campaign.campaign import Campaign, read_campaign

CAMPAIGN = """\
format = 1
name = "first look"
rig = "rig/rig.toml"
baseline = "plain"
date = 2026-03-02

[reference]
slip_speed_m_s = 0.5
temperature_c = 80
pressure_mpa = 1.0

[oil]
name = "GL-5 75W-90"
kinematic_viscosity_40c_mm2_s = 101.0
kinematic_viscosity_100c_mm2_s = 15.3

[materials.plain]
friction_plate = "plain steel"
mating_plate = "plain steel"

[materials.rough]
friction_plate = "rough-faced steel"
mating_plate = "plain steel"
note = "first batch"

[packs.A1]
material = "plain"
batch = "B7"
state = "new"
service_hours = 0
friction_faces = 8
outer_radius_mm = 62.0
inner_radius_mm = 45.0
radius_u_mm = 0.05
contact_area_fraction = 0.9
pressure_law = "uniform-pressure"

[[runs]]
id = "R001"
pack = "A1"
procedure = "speed-sweep"
log = "logs/R001.csv"

[[runs]]
id = "R002"
pack = "A1"
procedure = "zero"
log = "logs/R002.csv"
date = 2026-03-03
"""

RIG = """\
format = 1
name = "bench 2"
inertia_kg_m2 = 0.012
inertia_u_kg_m2 = 0.001

[log]
time_column = "Time [s]"

[channels.torque]
column = "Torque"
unit = "mV/V"
calibration = "records/TC-1.toml"
range = [-3.0, 3.0]

[channels.clamp_load]
column = "Load"
unit = "kN"
u = 0.02

[channels.slip_speed]
column = "Speed"
unit = "rpm"
u = 0.5
lag_s = 0.01

[channels.plate_temperature]
column = "Plate TC"
unit = "mV"
thermocouple = "K"
reference_junction = "reference_junction_temperature"

[channels.reference_junction_temperature]
column = "Junction"
unit = "degC"
u = 0.3
"""

RECORD = """\
format = 1
id = "TC-1"
sensor = "torque cell 500 N*m, no. 17"
quantity = "torque"
applied_unit = "N*m"
indicated_unit = "mV/V"
date = 2026-01-10
valid_until = 2027-01-10
reference_expanded_u_percent = 0.1
coverage_factor = 2
temperature_c = 23.0
degree = 1
points = "TC-1.csv"
"""

POINTS = """\
series,direction,applied,indicated
1,up,0,0.0001
1,up,250,1.0003
1,up,500,2.0002
1,down,250,1.0009
1,down,0,0.0004
"""


@dataclass(frozen=True)
class Bench:
    """A campaign on disk; `spoil` edits a file so that one fault is in it."""

    folder: Path

    def path(self, name: str) -> Path:
        return self.folder / name

    def spoil(self, name: str, old: str, new: str) -> None:
        text = self.path(name).read_text(encoding="utf-8")
        assert text.count(old) >= 1, f"{old!r} is not in {name}"
        self.path(name).write_text(text.replace(old, new, 1), encoding="utf-8")

    def read(self) -> Campaign:
        return read_campaign(self.folder)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    folder = tmp_path / "demo"
    files = {
        "campaign.toml": CAMPAIGN,
        "rig/rig.toml": RIG,
        "rig/records/TC-1.toml": RECORD,
        "rig/records/TC-1.csv": POINTS,
        "logs/R001.csv": "Time [s]\n",
        "logs/R002.csv": "Time [s]\n",
    }
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return Bench(folder)
