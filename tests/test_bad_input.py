"""What a ragged day at the bench gives: one clear message each, and the other runs go on."""

import re
import shutil

import numpy as np
import pandas as pd
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.errors import ReductionError, Severity
from rigdata.reduction.drag import DragData
from rigdata.reduction.reduce import _short, reduce_campaign
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import ConstantCurve, Material

PACKS = ("P1", "P2")


@pytest.fixture(scope="module")
def healthy(tmp_path_factory):
    """Two packs, each with a drag run and two holds."""
    folder = tmp_path_factory.mktemp("healthy")
    designs = tuple(PackDesign(name, "rough") for name in PACKS)
    runs = []
    for pack in designs:
        load = pack.load_n(3.0)
        hold = procedures.steady(load_n=load, speed_m_s=0.2, oil_c=70.0, seconds=8.0, rate_hz=20.0)
        drag = procedures.drag(
            cold_c=60.0, hot_c=80.0, top_m_s=0.5, hold_s=1.5, heating_s=4.0, rate_hz=20.0
        )
        runs += [
            RunDesign(f"{pack.name}-drag", pack.name, drag),
            RunDesign(f"{pack.name}-one", pack.name, hold),
            RunDesign(f"{pack.name}-two", pack.name, hold),
        ]
    simulate_campaign(
        CampaignSpec(
            name="bad day",
            baseline="rough",
            rig=RigDesign(),
            materials=(Material("rough", "rough", "plain", ConstantCurve(0.14)),),
            packs=designs,
            runs=tuple(runs),
            oil={
                "name": "oil",
                "kinematic_viscosity_40c_mm2_s": 170.0,
                "kinematic_viscosity_100c_mm2_s": 24.0,
            },
        ),
        3,
        folder,
    )
    return folder


@pytest.fixture
def campaign(healthy, tmp_path):
    return shutil.copytree(healthy, tmp_path / "campaign")


def edit(campaign, run, change):
    """Change the numbers of one log; `change` gets the table of its columns."""
    log = next((campaign / "logs").glob(f"{run}*"))
    lines = log.read_text().splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if re.match(r"\s*0\.0*,", line))
    names = lines[first - 2].strip().split(",")
    table = pd.DataFrame(
        [line.rstrip("\n").split(",") for line in lines[first:]], columns=names, dtype=object
    )
    table = change(table)
    log.write_text("".join(lines[:first]) + table.to_csv(index=False, header=False))
    return log


def hold(column):
    def change(table):
        table[column] = table[column].iloc[0]
        return table

    return change


def left_out(campaign, run):
    """Reduce; check that only this run is missing, and return why."""
    reduction = reduce_campaign(read_campaign(campaign))
    assert set(reduction.left_out) == {run}
    assert set(reduction.points.run) == {"P1-one", "P1-two", "P2-one", "P2-two"} - {run}
    shown = [n for n in reduction.notices if n.severity is Severity.LEFT_OUT]
    assert len(shown) == 1
    assert run in shown[0].where
    return reduction.left_out[run]


def test_the_healthy_campaign_has_nothing_to_say(campaign):
    reduction = reduce_campaign(read_campaign(campaign))
    assert reduction.left_out == {}
    assert [n for n in reduction.notices if n.severity is not Severity.NOTE] == []


def test_torque_cell_unplugged(campaign):
    edit(campaign, "P1-one", hold("Torque"))
    assert "torque cell unplugged" in left_out(campaign, "P1-one")


def test_clamp_load_that_never_rises(campaign):
    edit(campaign, "P1-one", hold("Clamp load"))
    assert "clamp load cell unplugged" in left_out(campaign, "P1-one")


def test_speed_that_never_leaves_zero(campaign):
    edit(campaign, "P1-one", hold("Slip speed"))
    assert "slip speed never leaves zero" in left_out(campaign, "P1-one")


def test_empty_log(campaign):
    next((campaign / "logs").glob("P1-one*")).write_text("")
    why = left_out(campaign, "P1-one")
    assert "empty" in why
    assert "P1-one" in why


def test_missing_log(campaign):
    next((campaign / "logs").glob("P1-one*")).unlink()
    assert "there is no log" in left_out(campaign, "P1-one")


def test_wrong_columns(campaign):
    log = next((campaign / "logs").glob("P1-one*"))
    log.write_text(log.read_text().replace("Slip speed", "Slipspeed2"))
    why = left_out(campaign, "P1-one")
    assert "Slip speed" in why
    assert "Slipspeed2" in why


def test_wired_in_reverse(campaign):
    def turn(table):
        values = table["Torque"].replace("", "nan").astype(float)
        table["Torque"] = [f"{v:.5f}" for v in 2 * values.iloc[0] - values]
        return table

    edit(campaign, "P1-one", turn)
    assert "against the direction of slip" in left_out(campaign, "P1-one")


def test_run_without_its_zero(campaign):
    def cut(table):
        loaded = table["Clamp load"].replace("", "nan").astype(float) > 0.2
        return table.iloc[np.flatnonzero(loaded)[40] :]

    log = edit(campaign, "P1-one", cut)
    log.write_text(log.read_text())
    assert "no zero" in left_out(campaign, "P1-one")


def test_drag_run_missing(campaign):
    text = (campaign / "campaign.toml").read_text()
    head, *runs = re.split(r"(?m)^(?=\[\[runs\]\])", text)
    (campaign / "campaign.toml").write_text(
        head + "".join(run for run in runs if '"P1-drag"' not in run)
    )
    reduction = reduce_campaign(read_campaign(campaign))
    assert reduction.left_out == {}
    warnings = [n for n in reduction.notices if n.severity is Severity.WARNING]
    assert len(warnings) == 1
    assert "pack P1" in warnings[0].where
    assert "borrowed from P2-drag" in warnings[0].what
    borrowed = [s for s in reduction.points.sources if s.id.endswith(":borrowed")]
    assert len(borrowed) == 1


def test_drag_run_that_ends_at_a_low_speed(campaign):
    def cut(table):
        speed = np.abs(table["Slip speed"].replace("", "nan").astype(float))
        return table.iloc[: int(np.flatnonzero(speed > 0.4 * speed.max())[0])]

    edit(campaign, "P1-drag", cut)
    reduction = reduce_campaign(read_campaign(campaign))
    assert reduction.left_out == {}
    (told,) = (n for n in reduction.notices if "borrowed from" in n.what)
    assert told.severity is Severity.WARNING
    assert "P1-drag reaches" in told.what
    assert any(s.id.endswith(":borrowed") for s in reduction.points.sources)


@pytest.mark.parametrize(
    ("top", "warmest", "says"),
    [
        (20.0, 100.0, ""),
        (15.1, 100.0, ""),
        (14.9, 100.0, "P1-drag reaches 14.9 rad/s, as other packs do 20 rad/s"),
        (20.0, 81.0, ""),  # 0.75 of 60 K less 5 K
        (20.0, 79.0, "the oil of P1-drag goes through 39 K, of others 60 K"),
    ],
)
def test_drag_known_to_three_quarters_of_what_others_reach_is_its_own(top, warmest, says):
    def drag(pack, top, to_c):
        speed, still = np.tile([0.25, 0.5, 1.0], 20) * top, np.zeros(60)
        oil = np.linspace(40.0, to_c, 60)
        return DragData(f"{pack}-drag", pack, speed, still, oil, 0.1 * speed, 0.01, 0.02)

    others = [drag("P2", 20.0, 100.0), drag("P3", 20.0, 100.0)]
    assert _short([drag("P1", top, warmest)], others) == says
    assert _short([], others) == ""
    assert _short(others, []) == ""


def test_no_drag_run_at_all(campaign):
    text = (campaign / "campaign.toml").read_text()
    head, *runs = re.split(r"(?m)^(?=\[\[runs\]\])", text)
    (campaign / "campaign.toml").write_text(
        head + "".join(run for run in runs if "-drag" not in run)
    )
    reduction = reduce_campaign(read_campaign(campaign))
    warnings = [n for n in reduction.notices if n.severity is Severity.WARNING]
    assert [n.where for n in warnings] == ["packs P1, P2"]
    assert all("stays in the coefficients" in n.what for n in warnings)


def test_record_that_does_not_cover_the_range(campaign):
    record = next((campaign / "rig" / "records").glob("TQ*.csv"))
    table = pd.read_csv(record)
    table[table.applied < 0.35 * table.applied.max()].to_csv(record, index=False)
    description = next((campaign / "rig" / "records").glob("TQ*.toml"))
    description.write_text(re.sub(r"degree = \d", "degree = 1", description.read_text()))
    reduction = reduce_campaign(read_campaign(campaign))
    warnings = [n for n in reduction.notices if "outside calibration record" in n.what]
    assert warnings
    assert all("TQ-2025-02" in n.what for n in warnings)


def test_nothing_left_at_all(campaign):
    for run in ("P1-one", "P1-two", "P2-one", "P2-two"):
        next((campaign / "logs").glob(f"{run}*")).write_text("")
    with pytest.raises(ReductionError, match="no run gave a friction point"):
        reduce_campaign(read_campaign(campaign))
