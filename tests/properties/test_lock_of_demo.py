"""What the demo's measured tables do in a differential, as the trade expects.

Each expectation is common practice, no source.  New packs of the demo alone are simulated, two of
each material, with the runs that give their kinetic coefficient.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.lockup.description import read_lock_pack
from rigdata.lockup.setup import Operation, same_lock
from rigdata.lockup.torque import lock_torque
from rigdata.pipeline.stages import fit_into, reduce_into, tables_into
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import demo_spec
from rigdata.simulation.scenario import ROUGH, STEEL

SEED = 20250317  # that of the demo
BASIS = ("zero", "drag", "bedding", "speed-sweep")
PACK = Path(__file__).parents[2] / "examples/ramp-differential/differential.toml"
WHERE = Operation(200.0, 90.0)


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    spec = demo_spec("small")
    names = {
        material.name: [
            p.name for p in spec.packs if (p.material, p.state) == (material.name, "new")
        ]
        for material in (ROUGH, STEEL)
    }
    kept = {name for own in names.values() for name in own[:2]}
    runs = [r for r in spec.runs if r.pack in kept and r.commands.procedure in BASIS]
    folder = tmp_path_factory.mktemp("lock") / "campaign"
    simulate_campaign(replace(spec, runs=tuple(runs)), SEED, folder)
    campaign = read_campaign(folder)
    reduce_into(campaign)
    fit_into(campaign, laws=["log-speed", "stribeck"])
    built, _ = tables_into(campaign)
    return {group.material: table for group, table in built.tables.items()}


@pytest.fixture(scope="module")
def pack():
    return read_lock_pack(PACK)


def test_a_rough_faced_plate_needs_less_preload_for_the_same_lock(tables, pack):
    """Common practice, no source."""
    needed = same_lock(pack, tables[STEEL.name], tables[ROUGH.name], WHERE)
    assert needed.tested
    assert needed.high_n < pack.preload.force_n


def test_plain_similar_surfaces_need_more_clamping_for_the_same_lock(tables, pack):
    """Common practice, no source: the same question the other way about."""
    less = replace(pack, preload=replace(pack.preload, force_n=3600.0, u_n=100.0))
    needed = same_lock(less, tables[ROUGH.name], tables[STEEL.name], WHERE)
    assert needed.low_n > less.preload.force_n


def test_a_rough_faced_plate_builds_its_lock_up_faster_with_wheel_speed(tables, pack):
    """Common practice, no source."""
    apart = np.array([5.0, 40.0]) * np.pi / 30.0
    rise = {}
    for material, table in tables.items():
        lock = lock_torque(pack, table, 200.0, 90.0, speed_difference_rad_s=apart).lock_nm
        rise[material] = lock[1] / lock[0] - 1.0
    assert rise[ROUGH.name] > rise[STEEL.name] + 0.02
