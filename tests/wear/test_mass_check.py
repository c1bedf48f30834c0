from dataclasses import replace

import numpy as np
import pytest

from rigdata.wear.mass_check import mass_check, paired_ratio

AREA, DENSITY = 4000.0, 7850.0


def weighed(plates, share, rng):
    mass = 90.0 + share * AREA * DENSITY * 1e-6 * (plates.thickness_mm - 2.0)
    return replace(plates, mass_g=mass + rng.normal(0.0, 0.01, mass.size))


@pytest.mark.parametrize(("share", "agreeing"), [(1.0, (0.85, 1.0)), (0.9, (0.0, 0.05))])
def test_mass_and_thickness_agree_or_not(wearing, share, agreeing):
    found = []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        found.append(mass_check(weighed(wearing().drawn(rng), share, rng), AREA, DENSITY))
    assert {one.n_plates for one in found} == {8}
    assert np.mean([one.low <= share <= one.high for one in found]) >= 0.87
    assert agreeing[0] <= np.mean([one.agrees for one in found]) <= agreeing[1]


def test_one_plate_is_not_enough(wearing):
    rng = np.random.default_rng(9)
    plates = wearing(packs=1, plates=1).drawn(rng)
    assert mass_check(weighed(plates, 1.0, rng), AREA, DENSITY) is None


def test_fieller_by_inverting_the_t_test():
    # The interval is the set of ratios that the paired t test does not reject.
    rng = np.random.default_rng(10)
    below = rng.normal(2.0, 0.5, 9)
    above = 1.3 * below + rng.normal(0.0, 0.2, 9)
    _, low, high = paired_ratio(above, below)
    for end in (low, high):
        gap = above - end * below
        t = gap.mean() / (gap.std(ddof=1) / 3.0)
        assert abs(t) == pytest.approx(2.306004135, rel=1e-9)  # Student's t, 8 dof, 95 %


def test_a_loss_that_is_not_resolved_bounds_nothing():
    _, low, high = paired_ratio(np.array([1.0, 2.0, 3.0]), np.array([1.0, -1.0, 0.2]))
    assert (low, high) == (-np.inf, np.inf)
