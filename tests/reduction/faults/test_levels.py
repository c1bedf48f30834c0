"""Runs held against like runs, where one bad run or pack moves nothing."""

import math
from dataclasses import replace

import numpy as np
import pytest

from rigdata.reduction.faults.courses import Strays
from rigdata.reduction.faults.levels import friction_levels
from rigdata.reduction.faults.traits import middle
from tests.studies.friction_points import Truth, drawn

FACTOR = 0.737562  # lbf ft for N m


def drawn_runs(**conditions):
    """Three packs of four sweeps, run by run."""
    truth = Truth(packs=3, runs=(4, 4), points=(12, 12), **conditions)
    points = drawn(truth, np.random.default_rng(5))
    return [points.select(points.run == run) for run in dict.fromkeys(points.run.tolist())]


@pytest.fixture
def runs():
    """Three packs at random temperatures and pressures."""
    return drawn_runs()


def spoilt(run):
    return replace(run, mu=run.mu * FACTOR)


def off(runs):
    """The runs that lie outside what like runs differ by."""
    levels = friction_levels(runs)
    return {run for run, one in levels.items() if abs(one.offset) > max(6 * one.spread, 0.15)}


def test_runs_at_random_conditions_are_not_off(runs):
    assert off(runs) == set()


def test_one_run_off_by_a_factor_is_off_by_it_and_no_other_run_is(runs):
    runs[5] = spoilt(runs[5])
    assert off(runs) == {runs[5].run[0]}
    level = friction_levels(runs)[str(runs[5].run[0])]
    assert level.offset == pytest.approx(math.log(FACTOR), abs=0.06)


def test_a_whole_pack_of_three_is_told_from_the_others_at_like_conditions():
    runs = drawn_runs(temperatures=(60.0, 80.0), pressures=(0.9, 1.1))
    mixed = [spoilt(run) if i < 4 else run for i, run in enumerate(runs)]
    assert off(mixed) == {run.run[0] for run in runs[:4]}


def test_another_material_is_no_measure(runs):
    other = [replace(run, material=np.full(len(run), "steel"), mu=0.5 * run.mu) for run in runs]
    renamed = [replace(run, run=np.char.add(run.run, "s")) for run in other]
    assert off([*runs, *renamed]) == set()


def test_few_runs_show_their_spread_less_well_than_all_runs_of_the_campaign():
    runs = drawn_runs(temperatures=(60.0, 80.0), pressures=(0.9, 1.1))
    few = [
        replace(
            run,
            run=np.char.add(run.run, "s"),
            material=np.full(len(run), "steel"),
            mu=np.full(len(run), mu),
        )
        for run, mu in zip(runs[::4], (0.08, 0.1, 0.125), strict=True)
    ]
    usual = friction_levels(runs)[str(runs[0].run[0])].spread
    found = friction_levels([*runs, *few])
    # the second lies ln 1.25 from either: 1.4826 times that of two runs, beside ten usual ones
    own = 1.4826 * math.log(1.25)
    drawn_to = math.sqrt((2 * own**2 + 10 * usual**2) / 12)
    assert found[str(few[1].run[0])].spread == pytest.approx(drawn_to, rel=0.03)
    assert found[str(runs[0].run[0])].spread == pytest.approx(usual, rel=0.1)


def test_a_median_and_its_spread_bear_with_bad_values():
    good = np.random.default_rng(1).normal(3.0, 0.1, 41)
    centre, spread, count = middle([*good, 1e6, -1e6, math.nan])
    assert centre == pytest.approx(np.median(good), abs=0.05)
    assert spread == pytest.approx(0.1, rel=0.4)
    assert count == 43


def test_a_wave_is_found_with_its_period():
    time = np.linspace(0.0, 50.0, 60)
    noise = np.random.default_rng(2).normal(0.0, 0.1, 60)
    period, share = Strays(time, np.sin(2 * np.pi * time / 13.0) + noise).wave()
    assert period == pytest.approx(13.0, rel=0.1)
    assert share > 0.9
    assert Strays(time, noise).wave()[1] < 0.5
