"""The demo's plates wear as the trade expects: from their readings to the service they call for.

What is expected of them is common practice, no source.  The lives rest on the readings of the
worn packs and on their duties; one sweep of each rough pack gives its coefficient in service, so
the other runs of the demo are left out here.
"""

from dataclasses import replace

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.pipeline.stages import fit_into, reduce_into, wear_into
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import demo_spec
from rigdata.simulation.scenario import ROUGH, STAGES, STEEL, TRACK_DAYS

SEED = 20250317  # that of the demo
BASIS = ("zero", "drag", "speed-sweep")


@pytest.fixture(scope="module")
def wear(tmp_path_factory):
    spec = demo_spec("small")
    worn = {p.name for p in spec.packs if p.state == "worn" and p.material == ROUGH.name}
    first = {
        (run.pack, run.commands.procedure): run
        for run in reversed(spec.runs)
        if run.pack in worn and run.commands.procedure in BASIS
    }
    folder = tmp_path_factory.mktemp("trade") / "campaign"
    keep = tuple(run for run in spec.runs if run in first.values())
    simulate_campaign(replace(spec, runs=keep), SEED, folder)
    campaign = read_campaign(folder)
    reduce_into(campaign)
    fit_into(campaign, laws=["log-speed"])
    return wear_into(campaign)[0]


@pytest.fixture(scope="module")
def lives(wear):
    """Service lives of the rough material by duty."""
    return {life.duty.name: life for life in wear.lives if life.material == ROUGH.name}


def limit(life, name):
    (found,) = [one for one in life.limits if one.what == name]
    return found


def test_a_racing_duty_calls_for_service_at_100_to_120_hours(lives):
    """Common practice, no source: packs on special stages are serviced at about this."""
    mating = limit(lives[STAGES.name], "mating plates")
    assert mating.low <= 120.0
    assert mating.high >= 100.0
    assert 90.0 <= mating.hours <= 130.0


def test_track_days_call_for_it_after_8_to_10_years(lives):
    """Common practice, no source."""
    life = lives[TRACK_DAYS.name]
    mating = limit(life, "mating plates")
    per_year = life.duty.hours_per_year
    assert mating.low / per_year <= 10.0
    assert mating.high / per_year >= 8.0
    assert 7.0 <= mating.hours / per_year <= 11.0


@pytest.mark.parametrize("duty", [STAGES.name, TRACK_DAYS.name])
def test_mating_steels_go_first_and_friction_plates_outlast_them_clearly(lives, duty):
    """Common practice, no source: the steels are renewed alone, the coated plates stay."""
    life = lives[duty]
    mating, friction = limit(life, "mating plates"), limit(life, "friction plates")
    assert life.limits[0].what == "mating plates"
    assert friction.low > mating.high
    assert friction.hours > 2.0 * mating.hours


def test_plates_whose_runs_are_missing_still_have_their_lives(wear):
    """Of the steel packs no run was kept: their readings count, their specific rate is unknown."""
    steel = [one for one in wear.members if one.rate.material == STEEL.name]
    assert {one.rate.member for one in steel} == {"friction", "mating"}
    assert all(np.isnan(one.specific) for one in steel)
    assert {life.material for life in wear.lives} == {ROUGH.name, STEEL.name}
