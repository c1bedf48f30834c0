"""What the rig's calibration adds to a ratio: on one rig, on two, and under two radius laws."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn
from scipy import sparse

from rigdata.comparison.calibration_share import CalibrationShare, calibration_words
from rigdata.comparison.ratios import compare_groups
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import concatenate
from rigdata.uncertainty.sources import Effect, Scope, Source

PLAIN = Truth(
    material="plain", law="constant", theta=(0.10,), runs=(3, 3), points=(6, 6), gain_u=0.02
)


def ratio_of(rough, *laws):
    """The ratio of two materials, each with a radius law's source where one is named."""
    rng = np.random.default_rng(11)
    parts = [drawn(PLAIN, rng, 0.6), drawn(rough, rng, 0.6)]
    if laws:
        parts = [under(points, law) for points, law in zip(parts, laws, strict=True)]
    points = concatenate(parts)
    fits = fit_campaign(points, REFERENCE, laws=["constant"])
    (ratio,) = compare_groups(points, fits, baseline="plain", reference=REFERENCE)
    return ratio


def under(points, law):
    source = Source(f"radius-law:{law}", Scope.RIG, Effect.PROPORTIONAL, "radius law")
    columns = [points.contributions, (0.01 * points.mu)[:, None]]
    return replace(
        points,
        sources=(*points.sources, source),
        contributions=sparse.csr_array(sparse.hstack(columns)),
        condition_shifts=None,
    )


ROUGH = replace(PLAIN, material="rough", theta=(0.14,))


def test_on_one_rig_it_makes_less_than_a_twentieth_and_on_two_it_stays():
    """2 % of calibration beside three packs a material that differ by 2 %."""
    one, two = (ratio_of(replace(ROUGH, record=record)) for record in ("T1", "T2"))
    assert one.calibration.share < 0.05
    assert one.calibration.left < 0.01
    calibration, packs = 2.0 * 0.02**2, 2.0 * 0.02**2 / 3.0
    expected = calibration / (calibration + packs)
    assert two.calibration.share == pytest.approx(expected, abs=0.15)
    assert two.calibration.left == pytest.approx(1.0)
    apart = two.u_ratio[0] ** 2 - one.u_ratio[0] ** 2
    assert two.calibration.share * two.u_ratio[0] ** 2 == pytest.approx(apart, rel=0.05)
    assert "it cancels" in calibration_words(one.calibration)
    assert "it does not cancel" in calibration_words(two.calibration)


def test_the_radius_law_cancels_under_one_law_alone():
    one = ratio_of(ROUGH, "uniform-pressure", "uniform-pressure").calibration
    two = ratio_of(ROUGH, "uniform-pressure", "uniform-wear").calibration
    assert one.radius_law < 1e-3
    assert two.radius_law > 0.1
    assert two.left == pytest.approx(one.left, abs=1e-3)  # it is no part of the calibration
    assert "different pressure laws" in calibration_words(two)
    assert "different pressure laws" not in calibration_words(one)


def test_points_without_named_sources_have_none_to_cancel():
    words = calibration_words(CalibrationShare(0.0, 0.0, 0.0))
    assert words.startswith("the rig's calibration makes less than 0.1 % of the variance")


@pytest.mark.parametrize(
    ("share", "left", "ending"),
    [
        (0.012, 0.02, "makes 1.2 % of the variance of the ratio: it cancels"),
        (0.30, 0.5, "30 % of the variance of the ratio: it cancels in part, for the two share "
         "some of it alone"),
        (0.46, 1.0, "46 % of the variance of the ratio: it does not cancel, for the two share no "
         "calibration"),
    ],
)  # fmt: skip
def test_words(share, left, ending):
    assert calibration_words(CalibrationShare(share, left, 0.0)).endswith(ending)
