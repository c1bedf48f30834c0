"""A cause put in on purpose comes back as the named source, with its size.

Each cause spoils a record, the rig file or a log of one campaign.  How the points
then move must be what the budget says of the source, for as many of its standard
deviations as the cause is large: within 10 %, each alone and all together.
"""

import re
import shutil

import numpy as np
import pandas as pd
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.reduction import corrections
from rigdata.reduction.drag import Drag
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import LogCurve, Material

PACK = PackDesign("P1", "rough")
ONE_NM = 1e-3  # of the torque cell, in mV/V


@pytest.fixture(scope="module")
def healthy(tmp_path_factory):
    """Sweeps of speed and load fast enough for the inertia and a delay to matter."""
    folder = tmp_path_factory.mktemp("healthy")
    load = PACK.load_n(1.5)
    rate = {"rate_hz": 50.0}
    commands = {
        "drag": procedures.drag(cold_c=50.0, hot_c=80.0, top_m_s=1.6, **rate),
        "sweep": procedures.speed_sweep(load_n=load, oil_c=60.0, way_s=8.0, **rate),
        "load": procedures.load_sweep(
            low_n=load / 4, top_n=1.5 * load, speed_m_s=0.2, oil_c=60.0, way_s=6.0, **rate
        ),
    }
    for i in range(6):
        commands[f"hold{i}"] = procedures.steady(
            load_n=load, speed_m_s=0.2, oil_c=55.0 + 5 * i, seconds=150.0, **rate
        )
    simulate_campaign(
        CampaignSpec(
            name="known causes",
            baseline="rough",
            rig=RigDesign(lag_error_s=0.0),
            materials=(Material("rough", "rough", "plain", LogCurve(0.14, 0.003, 0.1)),),
            packs=(PACK,),
            runs=tuple(RunDesign(name, "P1", c) for name, c in commands.items()),
        ),
        11,
        folder,
    )
    return folder


@pytest.fixture(scope="module")
def straight(healthy):
    return reduce_campaign(read_campaign(healthy))


def scale_record(folder, pattern, factor):
    record = next((folder / "rig" / "records").glob(pattern))
    table = pd.read_csv(record)
    table["applied"] *= factor
    table.to_csv(record, index=False)


def change_rig(folder, key, change):
    rig = folder / "rig" / "rig.toml"
    rig.write_text(
        re.sub(
            rf"(?m)^{key} = (\S+)", lambda m: f"{key} = {change(float(m[1]))!r}", rig.read_text()
        )
    )


def add_to_log(log, column, amount, where=None):
    lines = log.read_text().splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if re.match(r"\s*0\.0*,", line))
    names = lines[first - 2].strip().split(",")
    rows = [line.rstrip("\n").split(",") for line in lines[first:]]
    table = pd.DataFrame(rows, columns=names, dtype=object)
    numbers = pd.to_numeric(table[column])
    chosen = numbers.notna() & (True if where is None else where(table))
    table.loc[chosen, column] = [f"{v + amount:.6f}" for v in numbers[chosen]]
    log.write_text("".join(lines[:first]) + table.to_csv(index=False, header=False))


def torque_gain(folder):
    scale_record(folder, "TQ*.csv", 1.01)


def load_gain(folder):
    scale_record(folder, "CL*.csv", 1.005)


def thermocouple(folder):
    for log in (folder / "logs").glob("*.csv"):
        add_to_log(log, "Junction", 2.0)


def inertia(folder):
    change_rig(folder, "inertia_kg_m2", lambda j: 1.03 * j)


def drag_error(folder):
    def slipping(table):
        return pd.to_numeric(table["Slip speed"]) > 0.5

    log = next((folder / "logs").glob("drag*"))
    add_to_log(log, "Torque", 5.0 * ONE_NM, slipping)


# The cause, the source that stands for it, and the size in the source's own unit: what one
# standard deviation is worth is read from the budget.
CAUSES = {
    torque_gain: ("torque:TQ-2025-02:reference", 0.01 / 0.0015),
    load_gain: ("clamp-load:CL-2025-02:reference", 0.005 / 0.002),
    inertia: ("inertia", 0.03 * 0.120 / 0.003),
}


def spoilt(healthy, tmp_path, *causes):
    folder = shutil.copytree(healthy, tmp_path / "spoilt")
    for cause in causes:
        cause(folder)
    return reduce_campaign(read_campaign(folder))


def column(points, source_id, matrix):
    ids = [source.id for source in points.sources]
    return matrix.toarray()[:, ids.index(source_id)]


def predicted(points, cause):
    source, deviations = CAUSES[cause]
    return deviations * column(points, source, points.contributions)


def predicted_drag(points):
    """The zero of the drag run, scaled to 5 N m."""
    (source,) = (s.id for s in points.sources if s.id.startswith("drag:") and s.id.endswith("zero"))
    own = column(points, source, points.contributions)
    held = points.procedure == "steady"
    faces_radius = PACK.friction_faces * PACK.radius_m
    # The share of 1 N m in mu at the load of the holds says what one deviation is.
    newton_metre = 1.0 / (faces_radius * points.pressure_mpa[held] * PACK.area_mm2)
    return own / np.mean(np.abs(own[held]) / newton_metre) * 5.0


def slope(found, expected):
    """How much of the expected change is found, over all points together."""
    return float(found @ expected / (expected @ expected))


@pytest.mark.parametrize("cause", CAUSES)
def test_each_alone(healthy, straight, tmp_path, cause):
    moved = spoilt(healthy, tmp_path, cause).points
    change = moved.mu - straight.points.mu
    assert slope(change, predicted(straight.points, cause)) == pytest.approx(1.0, abs=0.1)


def test_a_drag_error_of_5_newton_metres(healthy, straight, tmp_path):
    moved = spoilt(healthy, tmp_path, drag_error).points
    change = moved.mu - straight.points.mu
    assert slope(change, predicted_drag(straight.points)) == pytest.approx(1.0, abs=0.1)


def test_a_thermocouple_2_kelvin_off(healthy, straight, tmp_path):
    moved = spoilt(healthy, tmp_path, thermocouple).points
    change = moved.temperature_c - straight.points.temperature_c
    shift = straight.points.condition_shifts[1]
    # The junction's own uncertainty is stated as 0.3 K.
    (source,) = (s.id for s in straight.points.sources if s.id.startswith("reference-junction"))
    expected = 2.0 / 0.3 * column(straight.points, source, shift)
    assert slope(change, expected) == pytest.approx(1.0, abs=0.1)
    assert np.mean(change) == pytest.approx(2.0, abs=0.2)


def test_a_delay_of_20_milliseconds_is_found_and_taken_off(healthy, straight, tmp_path):
    def delay(folder):
        change_rig(folder, "lag_s", lambda lag: lag - 0.02 if lag == 0.04 else lag)

    moved = spoilt(healthy, tmp_path, delay)
    (note,) = (n for n in moved.notices if "clamp load shows" in n.what)
    shown, u = (float(x) for x in re.findall(r"([\d.]+) ms", note.what)[:2])
    assert shown == pytest.approx(20.0, abs=max(2.0, 3 * u))
    assert u < 4.0
    loads = straight.points.procedure == "load-sweep"
    assert moved.points.mu[loads] == pytest.approx(straight.points.mu[loads], rel=2e-3)


def test_all_together(healthy, straight, tmp_path):
    moved = spoilt(healthy, tmp_path, *CAUSES, drag_error, thermocouple).points
    change = moved.mu - straight.points.mu
    together = sum(predicted(straight.points, cause) for cause in CAUSES)
    together = together + predicted_drag(straight.points)
    assert slope(change, together) == pytest.approx(1.0, abs=0.1)
    assert np.mean(moved.temperature_c - straight.points.temperature_c) == pytest.approx(2, abs=0.2)


@pytest.mark.parametrize("cause", [inertia, drag_error])
def test_with_the_correction_taken_out_the_study_fails(healthy, tmp_path, monkeypatch, cause):
    """The proof that the tests above can fail: nothing moves where nothing is corrected."""
    if cause is inertia:
        monkeypatch.setattr(corrections, "_less_inertia", lambda torque, rate, rig: torque)
    else:
        monkeypatch.setattr(Drag, "torque", lambda self, speed, oil: np.zeros_like(speed))
    bare = reduce_campaign(read_campaign(healthy)).points
    change = spoilt(healthy, tmp_path, cause).points.mu - bare.mu
    assert np.abs(change).max() < 1e-3 * bare.mu.min()
