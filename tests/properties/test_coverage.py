"""Stated intervals on whole simulated campaigns: the short version of the study.

The long one, 200 campaigns a law, is ``tests/studies/campaign_coverage.py``; its
measured table stands in the contributor's guide.
"""

import os
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest

from tests.studies.simulated import CURVES, one_campaign, plan, without_scatter

CAMPAIGNS = 21


@pytest.fixture(scope="module")
def outcomes():
    laws = [list(CURVES)[i % len(CURVES)] for i in range(CAMPAIGNS)]
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        return list(pool.map(one_campaign, laws, range(CAMPAIGNS)))


def test_nothing_is_left_out(outcomes):
    assert [o.left_out for o in outcomes] == [0] * CAMPAIGNS


def test_mean_intervals_hold_the_truth(outcomes):
    # 42 materials: a true 95 % lies between 84 and 100 % in all but five cases of a thousand.
    assert 0.84 <= np.mean([o.mean_inside for o in outcomes]) <= 1.0


def test_intervals_for_one_more_pack_hold_packs_to_come(outcomes):
    assert 0.90 <= np.mean([o.next_share for o in outcomes]) <= 0.99


def test_ratio_intervals_hold_the_truth(outcomes):
    # 21 ratios: two misses more than the expected one are still chance.
    assert np.mean([o.ratio_inside for o in outcomes]) >= 0.85


def test_bias_is_small_beside_the_stated_uncertainty(outcomes):
    # The mean of 42 errors, each about one u, is known to 0.15 u; the goal is a quarter of u.
    assert abs(np.mean([o.error_over_u for o in outcomes])) < 0.25 + 2 * 0.15


def test_the_ratio_is_better_known_than_the_calibration(outcomes):
    """Packs and runs all alike: what is left is calibration, which cancels."""

    alone = one_campaign("constant", 7, without_scatter(plan("constant")))
    assert alone.u_ratio < 0.6 * np.hypot(*alone.u_means)
