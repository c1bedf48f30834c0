"""What must not change a coefficient: scale, units, order of runs, order of sweeps, cut logs."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import LogCurve, Material

MATERIAL = Material("rough", "rough", "plain", LogCurve(0.14, 0.003, 0.1))
PACK = PackDesign("P1", "rough")
KEYS = ["run", "direction", "start_s"]


def spec(*runs):
    return CampaignSpec(
        name="invariance",
        baseline="rough",
        rig=RigDesign(),
        materials=(MATERIAL,),
        packs=(PACK,),
        runs=runs,
    )


def programme(rate_hz=20.0):
    load = PACK.load_n(1.5)
    return (
        RunDesign("zero", "P1", procedures.zero(oil_c=60.0, rate_hz=rate_hz)),
        RunDesign(
            "drag", "P1", procedures.drag(cold_c=55.0, hot_c=70.0, top_m_s=1.6, rate_hz=rate_hz)
        ),
        RunDesign(
            "sweep",
            "P1",
            procedures.speed_sweep(load_n=load, oil_c=60.0, way_s=10.0, rate_hz=rate_hz),
        ),
        RunDesign(
            "load",
            "P1",
            procedures.load_sweep(
                low_n=load / 4,
                top_n=1.5 * load,
                speed_m_s=0.1,
                oil_c=60.0,
                way_s=10.0,
                rate_hz=rate_hz,
            ),
        ),
        RunDesign(
            "hold",
            "P1",
            procedures.steady(
                load_n=load, speed_m_s=0.1, oil_c=60.0, seconds=30.0, rate_hz=rate_hz
            ),
        ),
    )


@pytest.fixture(scope="module")
def original(tmp_path_factory):
    folder = tmp_path_factory.mktemp("original")
    simulate_campaign(spec(*programme()), 5, folder)
    return folder


@pytest.fixture
def copy(original, tmp_path):
    return shutil.copytree(original, tmp_path / "copy")


def reduced(folder):
    frame = reduce_campaign(read_campaign(folder)).points.frame()
    return frame.sort_values(KEYS, ignore_index=True)


def test_twice_the_load_and_torque(original, copy):
    for record in (copy / "rig" / "records").glob("*.csv"):
        table = pd.read_csv(record)
        table["applied"] *= 2
        table.to_csv(record, index=False)
    # Inertia and drag torque scale along; the drag does so by itself, being measured.
    rig = copy / "rig" / "rig.toml"
    text = rig.read_text()
    for key in ("inertia_kg_m2", "inertia_u_kg_m2"):
        text = re.sub(rf"{key} = (\S+)", lambda m, k=key: f"{k} = {2 * float(m[1])!r}", text)
    rig.write_text(text)
    before, after = reduced(original), reduced(copy)
    assert len(before) == len(after)
    np.testing.assert_allclose(after.mu, before.mu, rtol=1e-9)
    np.testing.assert_allclose(after.u_mu, before.u_mu, rtol=1e-6)
    np.testing.assert_allclose(after.pressure_mpa, 2 * before.pressure_mpa, rtol=1e-9)


def test_other_units_on_the_records(original, copy):
    for record, unit, factor in (
        ("TQ-2025-02", "lbf*ft", 1 / (4.4482216152605 * 0.3048)),
        ("CL-2025-02", "lbf", 1e3 / 4.4482216152605),
    ):
        table = pd.read_csv(copy / "rig" / "records" / f"{record}.csv")
        table["applied"] *= factor
        table.to_csv(copy / "rig" / "records" / f"{record}.csv", index=False)
        description = copy / "rig" / "records" / f"{record}.toml"
        text = re.sub(
            r'applied_unit = "[^"]+"', f'applied_unit = "{unit}"', description.read_text()
        )
        description.write_text(text)
    before, after = reduced(original), reduced(copy)
    np.testing.assert_allclose(after.mu, before.mu, rtol=1e-9)
    np.testing.assert_allclose(after.u_mu, before.u_mu, rtol=1e-6)


def test_order_of_the_runs(original, copy):
    text = (copy / "campaign.toml").read_text()
    head, *runs = re.split(r"(?m)^(?=\[\[runs\]\])", text)
    (copy / "campaign.toml").write_text(head + "\n".join(run + "\n" for run in reversed(runs)))
    before, after = reduced(original), reduced(copy)
    # The order of undated runs is that in which they were made, so what a pack had done
    # before each is another, and nothing else.
    done = ["pack_work_kj", "pack_sliding_s", "pack_engagements"]
    pd.testing.assert_frame_equal(
        before.drop(columns=done), after.drop(columns=done), rtol=1e-9, atol=0
    )
    assert not np.allclose(before[done], after[done])


def test_down_before_up(tmp_path):
    """A sweep that starts at the top gives the same curve inside its uncertainty."""
    drag, sweep = programme()[1], programme()[2]
    turned = _top_first(sweep.commands)
    simulate_campaign(spec(drag, replace(sweep, commands=turned)), 5, tmp_path / "turned")
    simulate_campaign(spec(drag, sweep), 5, tmp_path / "straight")
    curves = []
    for name in ("straight", "turned"):
        points = reduced(tmp_path / name)
        assert set(points.direction) >= {"up", "down"}
        curves.append(points[points.used & (points.slip_speed_m_s > 0.01)])
    levels = [np.average(c.mu - 0.003 * np.log(c.slip_speed_m_s / 0.1)) for c in curves]
    assert abs(levels[0] - levels[1]) < curves[0].u_mu.median()


def _top_first(commands):
    """Turn the loaded part of a sweep round: from the top speed down and back up."""
    moving = np.flatnonzero(commands.speed_m_s > 0)
    middle = (moving[0] + moving[-1]) // 2
    speed = commands.speed_m_s.copy()
    first, second = speed[moving[0] : middle], speed[middle : moving[-1] + 1]
    speed[moving[0] : moving[-1] + 1] = np.concatenate([second, first])
    return replace(commands, speed_m_s=speed)


def test_a_log_cut_in_two(original, copy):
    """The second half has no unloaded start and takes the pack's zero run."""
    log = next((copy / "logs").glob("hold*"))
    lines = log.read_text().splitlines(keepends=True)
    first_row = next(i for i, line in enumerate(lines) if re.match(r"\s*0[.,]?0*[;,]", line))
    middle = (first_row + len(lines)) // 2
    (log.parent / "second.csv").write_text("".join(lines[:first_row] + lines[middle:]))
    log.write_text("".join(lines[:middle]))
    campaign = copy / "campaign.toml"
    campaign.write_text(
        campaign.read_text()
        + '\n[[runs]]\nid = "second"\npack = "P1"\nprocedure = "steady"\nlog = "logs/second.csv"\n'
    )
    before, after = reduced(original), reduced(copy)
    whole = before[before.run == "hold"]
    parts = after[after.run.isin(["hold", "second"])]
    assert set(parts.run) == {"hold", "second"}
    assert parts.end_s.max() == pytest.approx(whole.end_s.max(), abs=0.1)
    assert abs(parts.mu.mean() - whole.mu.mean()) < whole.u_mu.mean() / 3
