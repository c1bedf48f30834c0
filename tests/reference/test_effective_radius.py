"""Effective radius against two published friction procedures and a GUM tool."""

from types import SimpleNamespace

import GTC
import numpy as np
import pytest

from rigdata.reduction.geometry import (
    effective_radius,
    face_area,
    pack_geometry,
    radius_slopes,
)


def test_uniform_pressure_of_sae_j3210():
    # SAE J3210 (geometry of J2490): OD 0.14615 m, ID 0.12055 m, Re 0.06688 m, area
    # 0.00536 m^2; as read on a test laboratory's public summary page.
    outer, inner = 0.14615 / 2, 0.12055 / 2
    assert effective_radius(outer, inner, "uniform-pressure") == pytest.approx(0.06688, abs=5e-6)
    assert face_area(outer, inner, 1.0) == pytest.approx(0.00536, abs=5e-6)


def test_uniform_wear_of_sae_j2964():
    # SAE J2964: OD 0.1460 m, ID 0.1205 m, mean radius 0.066625 m; same kind of page.
    assert effective_radius(0.0730, 0.06025, "uniform-wear") == pytest.approx(0.066625, abs=5e-6)


@pytest.mark.parametrize(
    ("ratio", "percent"),
    [(0.5, 3.7037), (0.6, 2.0833), (0.7, 1.0381), (0.8, 0.4115), (0.9, 0.0923)],
)
def test_gap_between_the_laws(ratio, percent):
    # Exact: pressure over wear = 1 + e^2/3, e = (ro - ri)/(ro + ri); arithmetic.
    pressure = effective_radius(1.0, ratio, "uniform-pressure")
    wear = effective_radius(1.0, ratio, "uniform-wear")
    assert 100 * (pressure / wear - 1) == pytest.approx(percent, abs=6e-5)
    e = (1 - ratio) / (1 + ratio)
    assert pressure / wear == pytest.approx(1 + e**2 / 3, rel=1e-12)


@pytest.mark.parametrize("law", ["uniform-pressure", "uniform-wear"])
def test_radius_uncertainty_against_gtc(law):
    # GTC 1.5 (MIT), an implementation of the GUM, as independent oracle.
    ro, ri = GTC.ureal(73.075, 0.05), GTC.ureal(60.275, 0.05)
    if law == "uniform-wear":
        expected = (ro + ri) / 2
    else:
        expected = 2 * (ro**3 - ri**3) / (3 * (ro**2 - ri**2))
    by_outer, by_inner = radius_slopes(73.075, 60.275, law)
    assert effective_radius(73.075, 60.275, law) == pytest.approx(expected.x, rel=1e-12)
    assert by_outer * 0.05 == pytest.approx(GTC.component(expected, ro), rel=1e-9)
    assert by_inner * 0.05 == pytest.approx(GTC.component(expected, ri), rel=1e-9)


def test_pack_geometry_carries_both_radii_and_the_law():
    pack = SimpleNamespace(
        name="A1",
        outer_radius_mm=73.075,
        inner_radius_mm=60.275,
        radius_u_mm=0.05,
        pressure_law="uniform-pressure",
        contact_area_fraction=0.8,
        friction_faces=8,
    )
    geometry = pack_geometry(pack)
    by_id = dict(zip([s.id for s in geometry.sources], geometry.relative, strict=True))
    assert geometry.radius_m == pytest.approx(66.8797744e-3, rel=1e-8)
    # Shares of mu 0.249203392437 that GTC gives for the two radii: 9.88285e-5, 8.69063e-5.
    assert by_id["outer-radius:A1"] * 0.249203392437 == pytest.approx(9.88285e-5, rel=1e-5)
    assert by_id["inner-radius:A1"] * 0.249203392437 == pytest.approx(8.69063e-5, rel=1e-5)
    gap = effective_radius(73.075, 60.275, "uniform-pressure") - (73.075 + 60.275) / 2
    assert by_id["radius-law:uniform-pressure"] == pytest.approx(
        gap / 2 / np.sqrt(3) / 66.8797744, rel=1e-8
    )
