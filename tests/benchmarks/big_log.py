"""One long log of a steady run, written quickly, and the rig file that reads it."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import polars as pl

RATE_HZ = 10_000.0
DONE = "written"
COLUMNS = ("time", "torque", "load", "speed", "plate", "oil", "a", "b", "c", "d", "e")

RIG = """\
format = 1
name = "bench for timings"
inertia_kg_m2 = 0.1
inertia_u_kg_m2 = 0.003

[log]
time_column = "time"

[channels.torque]
column = "torque"
unit = "N*m"
u = 1.0

[channels.clamp_load]
column = "load"
unit = "kN"
u = 0.02

[channels.slip_speed]
column = "speed"
unit = "rpm"
u = 0.05

[channels.plate_temperature]
column = "plate"
unit = "degC"
u = 1.0
time_constant_s = 1.0

[channels.oil_temperature]
column = "oil"
unit = "degC"
u = 0.5
"""

CAMPAIGN = """\
format = 1
name = "one long run"
rig = "rig.toml"
baseline = "plate"

[reference]
slip_speed_m_s = 0.5
temperature_c = 90.0
pressure_mpa = 1.5

[materials.plate]
friction_plate = "plate"
mating_plate = "plate"
note = ""

[packs.P1]
material = "plate"
batch = "1"
state = "bedded"
service_hours = 0.0
friction_faces = 10
outer_radius_mm = 55.0
inner_radius_mm = 40.0
radius_u_mm = 0.05
contact_area_fraction = 0.8
pressure_law = "uniform-pressure"

[[runs]]
id = "long"
pack = "P1"
procedure = "steady"
log = "long.csv"
"""


def long_campaign(folder: Path, rows: int) -> Path:
    """Return the log of the campaign with `rows` rows in `folder`, written if it is not there."""
    own = folder / f"long-{rows}"
    log = own / "long.csv"
    return log if (own / DONE).exists() else write_campaign(own, rows)


def filtered_campaign(folder: Path, rows: int, hz: float = 10.0) -> Path:
    """Return the same log in a campaign whose rig filters three channels."""
    log = long_campaign(folder, rows)
    own = folder / f"filtered-{rows}"
    own.mkdir(exist_ok=True)
    rig = RIG
    for unit in ("N*m", "kN", "rpm"):
        rig = rig.replace(f'unit = "{unit}"', f'unit = "{unit}"\nlow_pass_hz = {hz}')
    (own / "rig.toml").write_text(rig)
    (own / "campaign.toml").write_text(CAMPAIGN)
    (own / "long.csv").unlink(missing_ok=True)
    os.link(log, own / "long.csv")
    return own / "long.csv"


def write_campaign(folder: Path, rows: int, seed: int = 1) -> Path:
    """Write a campaign of one run with `rows` rows at 10 kHz; return its log."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "rig.toml").write_text(RIG)
    (folder / "campaign.toml").write_text(CAMPAIGN)
    log = folder / "long.csv"
    rng = np.random.default_rng(seed)
    span = rows / RATE_HZ
    with log.open("wb") as file:
        file.write(",".join(COLUMNS).encode() + b"\n")
        for start in range(0, rows, 250_000):
            time = np.arange(start, min(start + 250_000, rows)) / RATE_HZ
            on = np.clip(np.minimum(time - 3, span - 3 - time), 0, 1)
            table = {
                "time": time,
                "torque": 362.0 * on + rng.normal(0, 2, time.size),
                "load": 5.4 * on + rng.normal(0, 0.01, time.size),
                "speed": 100.0 * on + rng.normal(0, 0.1, time.size),
                "plate": 90.0 + rng.normal(0, 0.3, time.size),
                "oil": 80.0 + rng.normal(0, 0.1, time.size),
            }
            table |= {name: rng.normal(1, 0.01, time.size) for name in "abcde"}
            pl.DataFrame(table).write_csv(file, include_header=False, float_precision=4)
    (folder / DONE).touch()
    return log
