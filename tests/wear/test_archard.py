import numpy as np
import pytest

from rigdata.campaign.campaign import Pack
from rigdata.wear.archard import specific_wear_rate, worn_area_mm2

PACK = Pack("A1", "m", "b", "worn", 50.0, 10, 55.0, 40.0, 0.05, 0.8, "uniform-wear")


def test_lands_wear_on_the_friction_plate_and_the_whole_ring_on_the_mating_plate():
    ring = np.pi * (55.0**2 - 40.0**2)
    assert worn_area_mm2(PACK, "mating") == pytest.approx(ring)
    assert worn_area_mm2(PACK, "friction") == pytest.approx(0.8 * ring)


def test_specific_rate_by_hand():
    # Ours, worked by hand: 10 faces of 4000 mm^2, mu 0.1, 2 um lost on both faces for 1 MJ.
    # 1 MJ is F s = 1e6 / (10 * 0.1) = 1e6 N m on each face; a face loses 4000 * 1e-3 = 4 mm^3.
    assert specific_wear_rate(2.0, 4000.0, 10, 0.1) == pytest.approx(4.0e-6)


def test_archards_law_forward_and_back():
    # Ours, in the manner of a handbook: a face of 3581 mm^2 that wears at 3e-6 mm^3/(N m) loses
    # V = k F s = 3e-6 * 5000 N * 1800 m = 27 mm^3, both faces of its plate together
    # 2 * 27 / 3581 mm.  Ten faces at mu 0.13 turn 10 * 0.13 * 5000 * 1800 J into heat meanwhile.
    lost_um = 1e3 * 2.0 * 27.0 / 3581.0
    assert specific_wear_rate(lost_um / 11.7, 3581.0, 10, 0.13) == pytest.approx(3e-6, rel=1e-12)
