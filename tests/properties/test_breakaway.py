"""From the logs of the virtual bench to the static law that its plates follow."""

from dataclasses import replace

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.friction.conditions import Conditions
from rigdata.friction.results import Group
from rigdata.friction.slopes import dwell_rise
from rigdata.friction.static import fit_static
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.simulation.scenario import ROUGH, STEEL

# The plates age by ln t from the moment they are pressed; the law has ln(1 + t/t0) and t runs
# from half the load, so the two are not the same function.
AGEING = replace(ROUGH, ageing=0.03, temperature_per_k=-2e-3, run_scatter=0.001)
GROUP = Group(AGEING.name, "bedded")


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    tests = ("zero", "breakaway", "breakaway-cold")
    truth = simulate_campaign(study_spec(materials=(AGEING, STEEL), tests=tests), 7, folder)
    campaign = read_campaign(folder)
    points = reduce_campaign(campaign).points
    return truth, fit_static(points, campaign.reference)[0][GROUP]


def test_the_dwell_law_is_chosen_and_holds_the_truth(found):
    truth, fit = found
    assert fit.law == "dwell"
    assert fit.n_points == 18
    for temperature in (42.0, 90.0):
        dwell = np.array([1.5, 3.0, 5.5])
        told = fit.predict(Conditions(0.0, temperature, 1.5, dwell))
        mean = truth.static_mu(AGEING.name, "bedded", dwell, temperature, 1.5)
        assert np.all(told.inside)
        assert np.all((told.mean_low < mean) & (mean < told.mean_high))


def test_rise_and_fall_are_those_of_the_plates(found):
    _, fit = found
    rise = dwell_rise(fit)
    ends = AGEING.static([rise.start, rise.end], 90.0, 1.5)
    decades = np.log10(rise.end / rise.start)
    assert rise.value == pytest.approx((ends[1] / ends[0]) ** (1.0 / decades) - 1.0, rel=0.15)
    assert fit.parameters["b"] == pytest.approx(-2e-3, rel=0.05)
    assert "c" in fit.not_identified
