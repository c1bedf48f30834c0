"""Cold and hot: where they are, what the ratio is there, and what is said of it."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.ratios import compare_groups
from rigdata.comparison.standings import standings
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import concatenate

PLAIN = Truth(material="plain", theta=(0.12, -0.004, -0.0008, -0.06), pack_sd=0.002, run_sd=0.002)


def stand(b, level=0.12, **changes):
    """Ratio of a material that fades by `b` per kelvin to the plain one."""
    rng = np.random.default_rng(4)
    rough = replace(PLAIN, material="rough", theta=(level, -0.004, b, -0.06), **changes)
    points = concatenate([drawn(truth, rng, 0.5) for truth in (PLAIN, rough)])
    fits = fit_campaign(points, REFERENCE, laws=["log-speed"])
    (ratio,) = compare_groups(points, fits, baseline="plain", reference=REFERENCE)
    return ratio, fits


@pytest.fixture(scope="module")
def crossing():
    """Alike at 80 degC, better hot and worse cold."""
    return stand(0.0045)


def test_cold_and_hot_are_tested_on_both_and_hold_their_truth(crossing):
    ratio, fits = crossing
    cold, quoted, hot = standings(ratio)
    assert (cold.name, quoted.name, hot.name) == ("cold", "quoted", "hot")
    assert 38.0 < cold.temperature_c < 70.0 < quoted.temperature_c < 90.0 < hot.temperature_c < 125
    for one in (cold, hot):
        assert one.low < np.exp(0.0053 * (one.temperature_c - 80.0)) < one.high
        place = Conditions(0.1, one.temperature_c, 1.0)
        assert all(fit.envelope.contains(place)[0] for fit in fits.values())


def test_the_verdict_follows_from_the_band(crossing):
    cold, quoted, hot = standings(crossing[0])
    assert (cold.verdict, quoted.verdict, hot.verdict) == ("lower", "equivalent", "higher")
    assert cold.high < 1.0 < hot.low
    assert cold.grips.endswith("% less")
    assert hot.grips.endswith("% more")
    assert " to " in hot.bounds


def test_a_wide_band_about_one_resolves_nothing():
    ratio, _ = stand(-0.0008, level=0.123, pack_sd=0.06)
    assert {one.verdict for one in standings(ratio)} == {"not resolved"}


def test_where_temperature_was_not_varied_there_is_neither():
    ratio, _ = stand(-0.0008, temperatures=(78.0, 84.0))
    assert [one.name for one in standings(ratio)] == ["quoted"]
