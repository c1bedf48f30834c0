"""A pack of 110 and 80 mm, worked out by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.reduction.geometry import effective_radius, face_area, pack_geometry

# 2/3 (55^3 - 40^3) / (55^2 - 40^2) = 2/3 * 102375 / 1425 mm; (55 + 40) / 2 = 47.5 mm.
PRESSURE_MM, WEAR_MM = 47.894737, 47.5
# 0.8 pi (55^2 - 40^2) = 0.8 * 3.14159265 * 1425 mm^2
AREA_MM2 = 3581.4156


def pack(law="uniform-pressure"):
    return SimpleNamespace(
        name="P1",
        friction_faces=8,
        outer_radius_mm=55.0,
        inner_radius_mm=40.0,
        radius_u_mm=0.05,
        contact_area_fraction=0.8,
        pressure_law=law,
    )


@pytest.mark.parametrize(
    ("law", "radius_mm"), [("uniform-pressure", PRESSURE_MM), ("uniform-wear", WEAR_MM)]
)
def test_by_hand(law, radius_mm):
    found = pack_geometry(pack(law))
    assert found.radius_m == pytest.approx(radius_mm * 1e-3, rel=1e-7)
    assert found.area_m2 == pytest.approx(AREA_MM2 * 1e-6, rel=1e-7)
    assert (found.outer_m, found.inner_m, found.u_radius_m) == pytest.approx((0.055, 0.04, 5e-5))
    assert found.gap_m == pytest.approx((PRESSURE_MM - WEAR_MM) * 1e-3, rel=1e-5)
    # half the gap, rectangular
    by_law = 0.5 * (PRESSURE_MM - WEAR_MM) / math.sqrt(3) / radius_mm
    assert found.relative[2] == pytest.approx(by_law, rel=1e-5)


@pytest.mark.parametrize("law", ["uniform-pressure", "uniform-wear"])
def test_one_standard_deviation_of_each_radius(law):
    found = pack_geometry(pack(law))
    radius, area = effective_radius(55.0, 40.0, law), face_area(55.0, 40.0, 0.8)
    for i, (more, less) in enumerate(
        (((55.05, 40.0), (54.95, 40.0)), ((55.0, 40.05), (55.0, 39.95)))
    ):
        change = (effective_radius(*more, law) - effective_radius(*less, law)) / 2
        assert found.relative[i] == pytest.approx(change / radius, rel=1e-4)
        change = (face_area(*more, 0.8) - face_area(*less, 0.8)) / 2
        assert found.relative_area[i] == pytest.approx(change / area, rel=1e-4)
    assert found.relative_area[2] == 0.0


@pytest.mark.parametrize("law", ["uniform-pressure", "uniform-wear"])
def test_radii_as_drawn(law):
    found = pack_geometry(pack(law))
    errors = np.array([[0.0, 1.0, 0.0], [0.0, -2.0, 0.0], [0.0, 0.0, 1.5]])
    drawn = found.drawn_radius(errors) * 1e3
    assert drawn[0] == pytest.approx(effective_radius(55.0, 40.0, law), rel=1e-12)
    assert drawn[1] == pytest.approx(effective_radius(55.05, 39.9, law), rel=1e-12)
    shift = 1.5 * 0.5 * (PRESSURE_MM - WEAR_MM) / math.sqrt(3)
    assert drawn[2] - drawn[0] == pytest.approx(shift, rel=1e-5)
