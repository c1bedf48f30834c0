"""Clutch packs in TOML: what is read, and what is refused in plain words."""

from pathlib import Path

import numpy as np
import pytest

from rigdata.errors import CampaignError
from rigdata.lockup.description import read_lock_pack

DEMO = Path(__file__).parents[2] / "examples/ramp-differential/differential.toml"


@pytest.fixture
def written(tmp_path):
    """Write the demo pack with one text replaced by another."""

    def write(old="", new=""):
        text = DEMO.read_text(encoding="utf-8")
        assert old in text
        path = tmp_path / "pack.toml"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return path

    return write


def test_the_demo_pack():
    pack = read_lock_pack(DEMO)
    assert pack.faces == 4
    assert pack.plates.spline_friction == 0.1
    # 2/3 (55^3 - 40^3) / (55^2 - 40^2), as any textbook has it for uniform pressure
    assert pack.radius_m == pytest.approx(2 / 3 * (55**3 - 40**3) / (55**2 - 40**2) * 1e-3)
    assert pack.area_m2 == pytest.approx(0.8 * np.pi * (55**2 - 40**2) * 1e-6)
    assert pack.arm_m == pytest.approx(8 * pack.radius_m)


@pytest.mark.parametrize(
    ("order", "faces"),
    [
        ("hub", 2),
        ("hub case hub", 4),
        ("hub hub case hub", 4),  # two alike do not slide on each other
        ("case hub case", 2),
        ("hub case hub case hub case hub case", 8),
    ],
)
def test_faces_follow_from_the_order_of_the_plates(written, order, faces):
    assert read_lock_pack(written('"hub case hub"', f'"{order}"')).faces == faces


def test_faces_may_be_given_instead(written):
    assert read_lock_pack(written('plate_order = "hub case hub"', "faces_per_side = 6")).faces == 6


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"hub case hub"', '"hub cage hub"', "has 'cage'; expected the words hub and case"),
        ('"hub case hub"', '"case case"', "no face slides"),
        ('plate_order = "hub case hub"', "", "neither the faces nor the order"),
        ('plate_order = "hub case hub"', "faces_per_side = 0", "faces_per_side"),
        ('"hub case hub"', '"hub"\nfaces_per_side = 3', "expected 2, which follows"),
        ("inner_radius_mm = 40.0", "inner_radius_mm = 60.0", "less than the outer radius, 55"),
        ("spline_friction = 0.1", "", "spline_friction beside spline_radius_mm"),
        ("drive_deg = 60.0", "drive_deg = 95.0", "at most 90"),
        ("drive_deg = 60.0", "drive_deg = 0.0", "above 0"),
        ("[ramps]", "[ramp]", "unknown key"),
        ("force_n = 5800.0", "", "force_n"),
        ("rings = 2", "rings = 2.5", "a whole number"),
        ("format = 1", "format = 9", "format 9 cannot be read"),
    ],
)
def test_a_wrong_description_is_refused(written, old, new, says):
    with pytest.raises(CampaignError, match=says.replace("(", r"\(")):
        read_lock_pack(written(old, new))


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(CampaignError):
        read_lock_pack(tmp_path / "none.toml")
