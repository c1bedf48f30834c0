from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from rigdata.bedding.results import BEDDED, NOT_YET, PackBedding
from rigdata.bedding.time_to_bed import time_to_bed
from rigdata.friction.results import Group

GROUP = Group("rough", "new")
NONE = np.empty(0)


def pack(work_kj, spread=1.05, verdict=BEDDED, area_mm2=35e3):
    ends = (work_kj / spread, work_kj * spread)
    per_area = 1e3 * work_kj / area_mm2
    more = (7.0, 0.4, 1, -0.08, 0.003, False, 40, 3, NONE, NONE, NONE)
    return PackBedding("A1", GROUP, verdict, "", work_kj, *ends, per_area, *more)


def test_packs_scatter_as_their_logarithms():
    works = np.array([60.0, 84.0, 100.0, 75.0])
    found = time_to_bed(GROUP, [pack(work) for work in works])
    logs = np.log(works)
    low, high = stats.t.interval(0.95, 3, logs.mean(), stats.sem(logs))
    assert (found.low, found.high) == pytest.approx(np.exp([low, high]))
    further = stats.t.ppf(0.975, 3) * logs.std(ddof=1) * np.sqrt(1.25)
    assert found.next_pack_high == pytest.approx(np.exp(logs.mean() + further))
    assert found.work_to_bed_kj == pytest.approx(stats.gmean(works))
    assert "median of 4 packs" in found.words


def test_packs_that_agree_too_well_share_what_their_intervals_leave():
    found = time_to_bed(GROUP, [pack(80.0, 1.3)] * 4)
    assert (found.low, found.high) == pytest.approx((80.0 / 1.3, 80.0 * 1.3))


def test_work_goes_by_the_area_of_the_faces():
    large = pack(160.0, area_mm2=70e3)
    found = time_to_bed(GROUP, [pack(80.0), large, pack(80.0)])
    assert found.work_to_bed_kj == pytest.approx(80.0)
    assert found.high / found.low < 1.2


def test_one_pack_has_its_own_interval_and_none_none():
    late = replace(pack(300.0), verdict=NOT_YET)
    found = time_to_bed(GROUP, [pack(80.0), late])
    assert (found.n_packs, found.n_others) == (1, 1)
    assert (found.low, found.high) == pytest.approx((80.0 / 1.05, 84.0))
    assert np.isnan(found.next_pack_high)
    assert time_to_bed(GROUP, [late]) is None
