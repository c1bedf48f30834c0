from dataclasses import replace

import numpy as np
import pytest

from rigdata.errors import FitError
from rigdata.wear.rates import wear_rate


def test_exact_lines_give_their_rate(wearing):
    plates = wearing(pack_sd=0.0, plate_sd=0.0, reading_um=1e-6).drawn(np.random.default_rng(1))
    found = wear_rate(plates)
    assert (found.per, found.n_packs, found.n_plates, found.n_readings) == ("h", 4, 8, 32)
    assert found.rate == pytest.approx(0.4, rel=1e-6)
    assert found.low < 0.4 < found.high


def test_two_stage_arithmetic_on_a_balanced_layout(wearing):
    # With the same hours for all plates the rate is the mean of the plates' own slopes, and its
    # interval Student's t over the packs' mean slopes: ordinary textbook analysis of variance.
    plates = wearing(hours=(90.0, 90.0), pack_sd=0.05).drawn(np.random.default_rng(4))
    slopes = {}
    for name in np.unique(plates.plate):
        own = plates.plate == name
        slope = np.polyfit(plates.hours[own], 1e3 * plates.thickness_mm[own], 1)[0]
        slopes.setdefault(name.split()[0], []).append(-slope)
    means = np.array([np.mean(own) for own in slopes.values()])
    found = wear_rate(plates)
    assert found.rate == pytest.approx(means.mean(), rel=1e-9)
    assert found.u == pytest.approx(means.std(ddof=1) / 2.0, rel=1e-5)
    assert found.high - found.rate == pytest.approx(3.182446305 * found.u, rel=1e-4)  # t, 3 dof


def test_work_is_used_where_it_is_known(wearing):
    plates = wearing(mj_per_hour=1.6).drawn(np.random.default_rng(2))
    per_hour = wear_rate(replace(plates, work_mj=np.full(len(plates), np.nan)))
    found = wear_rate(plates)
    assert (found.per, per_hour.per) == ("MJ", "h")
    assert 1.6 * found.rate == pytest.approx(per_hour.rate, rel=1e-6)
    assert found.furthest == pytest.approx(1.6 * per_hour.furthest)


def test_the_order_of_readings_does_not_matter(wearing):
    rng = np.random.default_rng(3)
    plates = wearing().drawn(rng)
    mixed = wear_rate(plates.select(rng.permutation(len(plates))))
    found = wear_rate(plates)
    assert mixed.rate == pytest.approx(found.rate, abs=1e-6 * found.u)
    assert mixed.u == pytest.approx(found.u, rel=1e-6)


@pytest.mark.parametrize(("bend", "seen"), [(0.0, (0.0, 0.05)), (0.5, (0.8, 1.0))])
def test_a_course_that_slows_down_is_seen(wearing, bend, seen):
    drawn = (wearing(packs=6, bend=bend).drawn(np.random.default_rng(seed)) for seed in range(20))
    share = np.mean([wear_rate(plates).bend > 3.0 for plates in drawn])
    assert seen[0] <= share <= seen[1]


def test_one_pack_says_nothing_of_the_next(wearing):
    found = wear_rate(wearing(packs=1).drawn(np.random.default_rng(6)))
    assert found.pack_sd is None
    assert np.all(np.isnan(found.one_more_pack(0.9)))


def test_plates_read_once_do_not_count(wearing):
    plates = wearing(packs=1, plates=1, stops=1).drawn(np.random.default_rng(7))
    with pytest.raises(FitError, match="Measure the same plates again"):
        wear_rate(plates)


def test_intervals_hold(wearing):
    design, held, next_held = wearing(), [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        found = wear_rate(design.drawn(rng))
        held.append(found.low <= design.rate <= found.high)
        low, high = found.one_more_pack(0.90)
        next_held.append(np.mean([low <= design.life_rate(rng) <= high for _ in range(50)]))
    assert np.mean(held) >= 0.85  # 95 % less four standard errors
    assert 0.85 <= np.mean(next_held) <= 0.96
