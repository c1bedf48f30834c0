"""A campaign on a soft drive line: logs, points, law and report all say who sticks and slips.

The virtual rig integrates the pack at the end of its drive line under the material's
true friction.  A falling coefficient (steel) is unstable where
``c + N r^2 F dmu/dv < 0``, a rising one (rough) nowhere.
"""

import numpy as np
import pytest
from scipy import optimize

from rigdata.campaign.campaign import read_campaign
from rigdata.friction.stick_slip import NONE, ONSET
from rigdata.pipeline.run import run_campaign
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
                load_n=pack.load_n(pressure), oil_c=85.0, way_s=12.0, rate_hz=RATE_HZ
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
def result(campaign):
    return run_campaign(campaign, out=campaign / "out", laws=["stribeck"])


@pytest.fixture(scope="module")
def windows(result):
    points = result.reduction.points
    return points.select(points.method == "ratio").frame()


def unstable_below(pressure_mpa):
    """Slip speed below which the steel pack swings by the linear theory. [m/s]"""
    pack = PackDesign("B1", STEEL.name)
    gain = pack.friction_faces * pack.radius_m**2 * pack.load_n(pressure_mpa)

    def damping(v):
        slope = (STEEL.curve.at(v * 1.001) - STEEL.curve.at(v * 0.999)) / (0.002 * v)
        return DAMPING + gain * float(slope)

    return optimize.brentq(damping, 1e-3, 2.0)


def test_the_rising_material_runs_quietly(result):
    rough = next(s for g, s in result.stick_slip.items() if g.material == ROUGH.name)
    assert rough.verdict == NONE
    assert rough.oscillating == 0


def test_the_onset_is_that_of_the_theory(result):
    steel = next(s for g, s in result.stick_slip.items() if g.material == STEEL.name)
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
        fast = own[own.slip_speed_m_s > 2 * edge]
        assert len(slow) > 3
        assert len(fast) > 3
        # One may still be winding up the line for the first time.
        assert (slow.torque_ripple > 0.05).sum() >= len(slow) - 1
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


def test_the_report_shows_it(result, campaign):
    page = (result.folder / "report.html").read_text()
    assert "Stick and slip in the logs" in page
    assert "Torque ripple over slip speed" in page
    assert "sticks and slips below" in page
    assert read_campaign(campaign).baseline == STEEL.name
