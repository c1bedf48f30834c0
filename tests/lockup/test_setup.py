"""Setups from wanted locks: what comes out must lock as asked, with the right interval."""

from dataclasses import replace

import numpy as np
import pytest
from hand_tables import made_table

from rigdata.errors import TableError
from rigdata.lockup.difference import difference
from rigdata.lockup.setup import (
    Operation,
    levers,
    preload_for_breakaway,
    same_lock,
    with_preload,
)

WHERE = Operation(500.0, 80.0, 8.0)
PLAIN = {"gain@1": 0.03, "": 0.01}
ROUGH = {"gain@1": 0.03, "": 0.02}


def test_plates_that_grip_more_need_less_preload_for_the_same_lock(pack):
    plain, rough = made_table(mu0=0.10, c=-0.05), made_table(mu0=0.14, c=-0.03)
    found = same_lock(pack, plain, rough, WHERE)
    wanted = WHERE.lock(pack, plain).lock_nm
    assert found.value_n < pack.preload.force_n
    changed = with_preload(pack, found.value_n)
    assert WHERE.lock(changed, rough).lock_nm == pytest.approx(wanted, rel=1e-9)
    assert found.low_n < found.value_n < found.high_n


def test_what_both_tables_share_does_not_widen_the_preload(pack):
    """100,000 draws of both tables, the gain of the rig common to them."""
    pack = replace(
        pack,
        preload=replace(pack.preload, u_n=0.0),
        ramps=replace(pack.ramps, friction_u=0.0),
    )
    plain, rough = made_table(0.10, shares=PLAIN), made_table(0.14, shares=ROUGH)
    found = same_lock(pack, plain, rough, WHERE)
    rng = np.random.default_rng(2)
    gain, one, other = rng.normal(size=(3, 100_000))
    mu = 0.10 * (1 + 0.03 * gain + 0.01 * one)
    new = 0.14 * (1 + 0.03 * gain + 0.02 * other)
    ramps = pack.ramp_gain("drive") * WHERE.input_torque_nm
    needed = mu * (pack.preload.force_n + ramps) / new - ramps
    low, high = np.quantile(needed, [0.025, 0.975])
    assert found.high_n - found.low_n == pytest.approx(high - low, rel=0.03)
    other_rig = made_table(0.14, shares={"gain@2": 0.03, "": 0.02})
    apart = same_lock(pack, plain, other_rig, WHERE)
    assert apart.high_n - apart.low_n > 1.5 * (found.high_n - found.low_n)


def test_the_same_plates_need_the_same_preload_for_certain(pack):
    plain = made_table(0.10, shares=PLAIN)
    found = same_lock(pack, plain, plain, WHERE)
    assert found.value_n == pytest.approx(pack.preload.force_n, rel=1e-6)
    assert found.high_n - found.low_n < 1.0


def test_ramps_that_lock_more_alone_are_told(pack):
    weak = replace(pack, preload=replace(pack.preload, force_n=100.0, u_n=0.0))
    with pytest.raises(TableError, match="the ramps alone lock with"):
        same_lock(weak, made_table(0.08), made_table(0.2), WHERE)


def test_breakaway_on_the_bench_takes_half_the_lock(pack):
    static = made_table(0.13, kind="static")
    found = preload_for_breakaway(pack, static, 120.0, 80.0)
    assert found.value_n == pytest.approx(2 * 120.0 / (0.13 * pack.arm_m), rel=1e-6)
    u = found.value_n * np.hypot(0.02, 150.0 / 5000.0)
    assert found.high_n - found.value_n == pytest.approx(1.96 * u, rel=0.01)


def test_cold_and_hot_of_one_table_share_their_errors(pack):
    table = made_table(b=-0.002, shares=PLAIN, pack_sd=0.05)
    hot = replace(WHERE, temperature_c=120.0).lock(pack, table)
    apart = difference(hot, WHERE.lock(pack, table))
    change = np.exp(-0.08) - 1.0
    assert apart.value_nm == pytest.approx(WHERE.lock(pack, table).lock_nm * change, rel=1e-3)
    assert apart.half_nm[0] < 0.15 * abs(apart.value_nm[0])
    assert apart.cancelled[0] > 0.98


def test_packs_of_two_materials_do_not_share_what_packs_differ_by(pack):
    tables = [made_table(mu0, shares=PLAIN, pack_sd=0.05) for mu0 in (0.10, 0.14)]
    apart = difference(*(WHERE.lock(pack, table) for table in tables))
    locks = [WHERE.lock(pack, table).lock_nm[0] for table in tables]
    packs = 1.96 * 0.05 * np.hypot(*locks)
    assert apart.next_half_nm[0] == pytest.approx(np.hypot(apart.half_nm[0], packs), rel=0.01)


def test_levers_are_what_the_changed_packs_lock_with(pack):
    plain, rough = made_table(0.10, a=0.02, b=-0.001), made_table(0.14)
    found = {lever.name: lever for lever in levers(pack, plain, WHERE, {"rough": rough})}
    before = WHERE.lock(pack, plain).lock_nm[0]
    assert found["plates: rough"].change_nm == pytest.approx(0.4 * before, rel=0.05)
    assert found["two more faces a side"].change_nm == pytest.approx(before / 2, rel=1e-6)
    assert found["plates 30 K hotter"].change_nm == pytest.approx(-0.03 * before, rel=0.05)
    share = pack.preload.force_n / WHERE.lock(pack, plain).axial_force_n[0]
    assert found["preload 20 % more"].change_nm == pytest.approx(0.2 * share * before, rel=1e-6)
    sizes = [abs(lever.change_nm) for lever in levers(pack, plain, WHERE)]
    assert sizes == sorted(sizes, reverse=True)
