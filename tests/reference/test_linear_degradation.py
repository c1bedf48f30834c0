"""Projection of linear degradation to a limit against another program.

Data: weights in kg of the first six animals weighed in all 12 weeks of the set `dietox`, as the
package statsmodels 0.15.0 (BSD-3) carries it; they stand for micrometres that plates lose.
Results: slope of each animal by `OLS` of that package, and its `DescrStatsW.tconfint_mean` of the
six slopes.  One line a unit and Student's t of the slopes is the classical projection (W. Q.
Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), chapter 13, from
memory), which a mixed model gives where all units were read at the same times.
"""

import numpy as np
import pytest
from scipy import stats

from rigdata.campaign.service import ServiceLimits
from rigdata.wear.life import service_life
from rigdata.wear.rates import wear_rate
from rigdata.wear.readings import Plates

WEIGHTS = {
    "4601": "26.5 27.6 36.5 40.3 49.1 55.4 59.6 67.0 76.6 86.5 91.6 98.6",
    "4643": "27.0 31.8 39.0 44.8 50.9 57.4 62.5 71.7 78.2 85.8 91.8 100.2",
    "4756": "17.0 19.0 23.6 30.0 36.3 42.4 50.5 57.6 66.6 74.2 83.0 89.3",
    "4757": "26.9 32.3 38.6 46.0 57.8 58.6 65.9 71.2 79.4 81.0 91.7 91.0",
    "4854": "29.0 32.7 38.3 45.5 48.6 56.0 62.6 70.2 73.8 80.3 85.5 93.1",
    "4856": "32.0 35.2 41.5 47.7 53.8 61.6 70.0 79.1 85.7 92.5 101.1 109.0",
}
MEAN, SD = 6.617655850815853, 0.5102845881023669  # kg a week
ENDS = (6.082145017571587, 7.153166684060119)  # 95 %
LIMIT_MM = 0.15


@pytest.fixture(scope="module")
def rate():
    lost = np.array([text.split() for text in WEIGHTS.values()], dtype=float)
    units, weeks = lost.shape
    names = np.repeat(list(WEIGHTS), weeks)
    blank = np.full(lost.size, np.nan)
    hours = np.tile(np.arange(weeks, dtype=float), units)
    thickness = 2.0 - 1e-3 * lost.ravel()
    ones = np.ones(lost.size, dtype=np.int64)
    plates = Plates("x", "mating", names, names, hours, blank, thickness, blank, blank, ones)
    return wear_rate(plates)


def test_the_mean_rate_and_its_interval(rate):
    assert rate.rate == pytest.approx(MEAN, rel=1e-6)
    assert (rate.low, rate.high) == pytest.approx(ENDS, rel=1e-4)


def test_the_hours_to_a_limit_and_their_interval_for_one_more_unit(rate):
    life = service_life("x", ServiceLimits(mating_wear_limit_mm=LIMIT_MM), [rate], None, None)
    reach = stats.t.ppf(0.95, 5) * SD * np.sqrt(1.0 + 1.0 / 6.0)
    met = 1e3 * LIMIT_MM / np.array([MEAN, MEAN + reach, MEAN - reach])
    assert (life.first.hours, life.first.low, life.first.high) == pytest.approx(met, rel=1e-3)
