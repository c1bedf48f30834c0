import numpy as np
import pytest

from rigdata.campaign.campaign import Pack
from rigdata.wear.archard import loss_um, specific_wear_rate, worn_area_mm2

PACK = Pack("A1", "m", "b", "worn", 50.0, 10, 55.0, 40.0, 0.05, 0.8, "uniform-wear")


def test_lands_wear_on_the_friction_plate_and_the_whole_ring_on_the_mating_plate():
    ring = np.pi * (55.0**2 - 40.0**2)
    assert worn_area_mm2(PACK, "mating") == pytest.approx(ring)
    assert worn_area_mm2(PACK, "friction") == pytest.approx(0.8 * ring)


def test_specific_rate_by_hand():
    # Ours, worked by hand: 10 faces of 4000 mm^2, mu 0.1, 2 um lost on both faces for 1 MJ.
    # 1 MJ is F s = 1e6 / (10 * 0.1) = 1e6 N m on each face; a face loses 4000 * 1e-3 = 4 mm^3.
    assert specific_wear_rate(2.0, 4000.0, 10, 0.1) == pytest.approx(4.0e-6)


def test_loss_undoes_the_specific_rate():
    area, load, distance, faces, mu = 3581.0, 5000.0, 1800.0, 10, 0.13
    work_mj = 1e-6 * faces * mu * load * distance
    lost = loss_um(3e-6, area, load, distance)
    assert specific_wear_rate(lost / work_mj, area, faces, mu) == pytest.approx(3e-6, rel=1e-12)
