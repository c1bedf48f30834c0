"""A campaign on a soft drive line: logs, points, law and words all say who sticks and slips.

The virtual rig integrates the pack at the end of its drive line under the material's
true friction.  A falling coefficient (steel) is unstable where
``c + N r^2 F dmu/dv < 0``, a rising one (rough) nowhere.
"""

import json

import numpy as np
import pytest
from scipy import optimize

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.verdicts import chatter_words, stick_slip_rows
from rigdata.friction.stick_slip import NONE, ONSET
from rigdata.pipeline.stages import fit_points
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.runs import Bench
from rigdata.simulation.scenario import ROUGH, STEEL
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign

STIFFNESS, DAMPING, INERTIA = 2500.0, 6.0, 0.12
RATE_HZ = 200.0
PRESSURES = {"light": 0.8, "middle": 1.5, "heavy": 3.0}
NATURAL_HZ = np.sqrt(STIFFNESS / INERTIA) / (2 * np.pi)


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    folder = tmp_path_factory.mktemp("soft")
    packs = [PackDesign("A1", ROUGH.name, state="bedded"), PackDesign("B1", STEEL.name)]
    runs = []
    for pack in packs:
        runs.append(
            RunDesign(
                f"{pack.name}-drag",
                pack.name,
                procedures.drag(cold_c=70.0, hot_c=100.0, top_m_s=1.6, hold_s=2.0, rate_hz=50.0),
            )
        )
        for name, pressure in PRESSURES.items():
            sweep = procedures.speed_sweep(
                load_n=pack.load_n(pressure), oil_c=85.0, way_s=10.0, rate_hz=RATE_HZ
            )
            runs.append(RunDesign(f"{pack.name}-{name}", pack.name, sweep))
    bench = Bench(line_stiffness_nm_rad=STIFFNESS, line_damping_nm_s_rad=DAMPING)
    spec = CampaignSpec(
        name="soft line",
        baseline=STEEL.name,
        rig=RigDesign(bench=bench),
        materials=(ROUGH, STEEL),
        packs=tuple(packs),
        runs=tuple(runs),
        reference=(0.1, 85.0, 1.5),
    )
    simulate_campaign(spec, 5, folder)
    return folder


@pytest.fixture(scope="module")
def reduced(campaign):
    read = read_campaign(campaign)
    return read, reduce_campaign(read).points


@pytest.fixture(scope="module")
def found(reduced):
    read, points = reduced
    return fit_points(points, read, laws=["stribeck"]).stick_slip


@pytest.fixture(scope="module")
def windows(reduced):
    _, points = reduced
    return points.select(points.method == "ratio").frame()


def unstable_below(pressure_mpa):
    """Slip speed below which the steel pack swings by the linear theory. [m/s]"""
    pack = PackDesign("B1", STEEL.name)
    gain = pack.friction_faces * pack.radius_m**2 * pack.load_n(pressure_mpa)

    def damping(v):
        slope = (STEEL.curve.at(v * 1.001) - STEEL.curve.at(v * 0.999)) / (0.002 * v)
        return DAMPING + gain * float(slope)

    return optimize.brentq(damping, 1e-3, 2.0)


def test_the_rising_material_runs_quietly(found):
    rough = next(s for g, s in found.items() if g.material == ROUGH.name)
    assert rough.verdict == NONE
    assert rough.oscillating <= 3  # of 136: a hundredth by the noise alone
    assert rough.sticking == 0


def test_the_onset_is_that_of_the_theory(found):
    steel = next(s for g, s in found.items() if g.material == STEEL.name)
    assert steel.verdict == ONSET
    assert steel.onset.low < unstable_below(1.5) < steel.onset.high
    assert steel.onset.high < 6 * steel.onset.low
    assert steel.onset.sweeps == steel.onset.sweeps_tested == 6
    assert "pressure" in steel.onset.moves_with
    expected = np.log(unstable_below(3.0) / unstable_below(0.8)) / np.log(3.0 / 0.8)
    assert steel.onset.pressure_power == pytest.approx(expected, abs=0.5)


def test_a_window_well_inside_either_side_is_told_rightly(windows):
    steel = windows[windows.material == STEEL.name]
    for name, pressure in PRESSURES.items():
        own = steel[steel.run == f"B1-{name}"]
        edge = unstable_below(pressure)
        # A swing that is there lives on a little above the onset, and starts a little below.
        slow = own[(own.slip_speed_m_s < edge / 3) & (own.slip_speed_m_s > 0.005)]
        slow = slow[slow.direction == "down"]  # on the way up the line is first wound up
        fast = own[own.slip_speed_m_s > 2 * edge]
        assert len(slow) >= 3
        assert len(fast) > 3
        assert (slow.torque_ripple > 0.05).all()
        assert (fast.torque_ripple < 0.02).all()
        assert (slow.stick_share > 0.05).all()
        assert not slow.used.any()
        assert slow.reason.str.startswith("sticks and slips").all()
        assert (fast.stick_share == 0.0).all()
        assert fast.used.all()


def test_the_frequency_is_that_of_the_line_where_the_plates_hardly_stand(windows):
    seen = windows[(windows.torque_ripple > 0.03) & (windows.stick_share < 0.2)]
    assert len(seen) > 3
    assert seen.ripple_hz.median() == pytest.approx(NATURAL_HZ, rel=0.12)
    sticky = windows[windows.stick_share > 0.6]
    assert sticky.ripple_hz.median() < 0.8 * NATURAL_HZ


def test_the_commands_say_it_in_a_few_words(found):
    told = " ".join(chatter_words(found.values()).split())
    assert "steel-on-steel (new): sticks and slips below" in told
    assert "rough-on-steel" not in told


def test_the_rows_for_machines_hold_no_objects(found):
    rows = {row["material"]: row for row in stick_slip_rows(found.values())}
    again = json.loads(json.dumps(rows))
    assert again[STEEL.name]["onset"]["sweeps"] == 6
    assert again[ROUGH.name]["onset"] is None
    assert again[ROUGH.name]["onset_range"][0] == 0.0
