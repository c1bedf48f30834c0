"""Ratios of two groups: what cancels, what is said, what is left out."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.ratios import compare_groups, comparison_notices
from rigdata.comparison.ratios_file import COLUMNS, ratios_frame, ratios_text, read_ratios
from rigdata.errors import ComparisonError, ResultError, Severity
from rigdata.friction.conditions import AXES, at
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import Group
from rigdata.reduction.points import concatenate
from rigdata.uncertainty.sources import Source

PLAIN, ROUGH, WORN = Group("plain", "new"), Group("rough", "new"), Group("rough", "worn")
HIGH = (0.168, -0.006, -0.0008, -0.06)  # 40 % above plain at the reference


def two(seed=1, gain=0.7, *, theta=HIGH, **changes):
    rng = np.random.default_rng(seed)
    plain = Truth(material="plain", **changes)
    rough = replace(plain, material="rough", theta=theta)
    return concatenate([drawn(truth, rng, gain) for truth in (plain, rough)])


def compared(points, **options):
    fits = fit_campaign(points, REFERENCE, laws=["log-speed"])
    given = {"baseline": "plain", "reference": REFERENCE, **options}
    return fits, compare_groups(points, fits, **given)


def test_a_clear_difference_is_higher_and_said_in_words():
    _, (ratio,) = compared(two(pack_sd=0.01))
    assert (ratio.group, ratio.against) == (ROUGH, PLAIN)
    assert ratio.low[0] < 1.4 < ratio.high[0]
    assert ratio.verdict == "higher"
    assert ratio.words.startswith("rough (new) grips ")
    assert "% more than plain (new) (95 % interval" in ratio.words
    assert ratio.words.endswith("at 0.10 m/s, 80 degC, 1.0 MPa")


def test_the_other_way_round_is_lower_by_the_inverse():
    points = two(pack_sd=0.01)
    _, (up,) = compared(points)
    _, (down,) = compared(points, baseline="rough")
    assert down.verdict == "lower"
    assert down.ratio[0] == pytest.approx(1 / up.ratio[0], rel=1e-8)
    assert down.low[0] == pytest.approx(1 / up.high[0], rel=1e-6)


def test_shared_calibration_cancels_from_the_ratio():
    """Each coefficient is only known to 2 %; their ratio much better."""
    points = two(gain_u=0.02, pack_sd=0.002, run_sd=0.002, radius_u=0.001)
    fits, (ratio,) = compared(points)
    alone = [fits[g].predict(at(REFERENCE)) for g in (ROUGH, PLAIN)]
    relative = [float(told.u_mu[0] / told.mu[0]) for told in alone]
    assert min(relative) > 0.0195
    assert ratio.u_ratio[0] / ratio.ratio[0] < 0.25 * min(relative)
    assert ratio.u_unshared[0] / ratio.ratio[0] == pytest.approx(np.hypot(*relative), rel=0.02)
    assert ratio.cancelled[0] > 0.95
    assert ratio.u_group[0] == pytest.approx(relative[0], rel=0.02)
    assert ratio.u_against[0] == pytest.approx(relative[1], rel=0.02)
    assert abs(ratio.ratio[0] / 1.4 - 1) < 0.02


def test_calibrations_of_two_sensors_do_not_cancel():
    points = two(gain_u=0.02, pack_sd=0.002, run_sd=0.002)
    matrix = points.contributions.tolil()
    place = [s.id for s in points.sources].index("torque:T1:slope")
    column = matrix[:, [place]].toarray()[:, 0]
    rough = points.material == "rough"
    matrix[:, [place]] = np.where(rough, 0.0, column)[:, None]
    other = Source(
        "torque:T2:slope",
        *(getattr(points.sources[place], n) for n in ("scope", "effect", "label")),
    )
    extra = np.where(rough, column, 0.0)
    own = replace(
        points,
        sources=(*points.sources, other),
        contributions=np.hstack([matrix.toarray(), extra[:, None]]),
        condition_shifts=None,
    )
    _, (ratio,) = compared(own)
    assert ratio.u_ratio[0] / ratio.ratio[0] > 0.027
    assert ratio.cancelled[0] == pytest.approx(0.0, abs=0.01)


def test_an_error_of_the_shared_calibration_does_not_move_the_ratio():
    """Points drawn twice with the same noise, the calibration right and then 10 % off."""
    _, (right,) = compared(two(gain=0.0, gain_u=0.02, zero_u=0.0))
    _, (off,) = compared(two(gain=5.0, gain_u=0.02, zero_u=0.0))
    assert off.ratio[0] == pytest.approx(right.ratio[0], rel=2e-3)


def test_alike_materials_are_equivalent():
    _, (ratio,) = compared(two(theta=Truth().theta, pack_sd=0.001, radius_u=0.0, packs=4))
    assert ratio.verdict == "equivalent"
    assert ratio.p_equivalent < 0.05
    assert "equivalent within 5 %" in ratio.words


def test_a_small_difference_behind_large_scatter_is_not_resolved():
    _, (ratio,) = compared(two(theta=(0.124, -0.004, -0.0008, -0.06), pack_sd=0.05))
    assert ratio.verdict == "not resolved"
    assert ratio.low[0] < 1.0 < ratio.high[0]
    assert ratio.words.startswith("no difference is resolved between rough (new) and plain (new)")


def test_a_resolved_difference_within_the_margin_is_equivalent():
    """2 % apart, known to half a percent: different, but not so that it matters."""
    points = two(theta=(0.1224, -0.00408, -0.0008, -0.06), pack_sd=0.0, run_sd=0.001, radius_u=0.0)
    _, (ratio,) = compared(points)
    assert ratio.p_different < 0.05
    assert ratio.verdict == "equivalent"


def test_a_verdict_follows_from_the_interval_when_there_is_one_comparison():
    for seed in range(6):
        _, (ratio,) = compared(two(seed, theta=(0.124, -0.004, -0.0008, -0.06), pack_sd=0.02))
        outside = not ratio.low[0] <= 1.0 <= ratio.high[0]
        assert outside == (ratio.p_different < 0.05)


def test_grid_covers_what_both_were_tested_at():
    rng = np.random.default_rng(3)
    plain = Truth(material="plain", speeds=(0.05, 2.0), temperatures=(60.0, 140.0))
    points = concatenate([drawn(plain, rng, 0.0), drawn(Truth(theta=HIGH), rng, 0.0)])
    fits, (ratio,) = compared(points)
    for fit in fits.values():
        assert fit.envelope.contains(ratio.conditions).all()
    speeds = ratio.conditions.slip_speed_m_s
    assert len(ratio.conditions) > 7
    assert speeds.min() < 0.06
    assert speeds.max() > 0.9


def test_a_reference_outside_is_replaced_by_the_nearest_and_said():
    _, (ratio,) = compared(two(speeds=(0.3, 1.5)))
    assert ratio.conditions.slip_speed_m_s[0] == pytest.approx(0.3, rel=0.1)
    (notice,) = ratio.notices
    assert notice.severity is Severity.WARNING
    assert "0.10 m/s, 80 degC, 1.0 MPa) was not tested on both" in notice.what
    assert "0.10 m/s" not in ratio.words


def test_groups_without_a_common_condition_are_left_out():
    rng = np.random.default_rng(3)
    plain = Truth(material="plain", speeds=(0.01, 0.05))
    rough = Truth(material="rough", theta=HIGH, speeds=(0.5, 2.0))
    points = concatenate([drawn(plain, rng), drawn(rough, rng)])
    fits = fit_campaign(points, REFERENCE)
    with pytest.raises(ComparisonError, match="no two groups can be compared"):
        compare_groups(points, fits, baseline="plain", reference=REFERENCE)
    (notice,) = comparison_notices([], fits, baseline="plain", reference=REFERENCE)
    assert "no condition was tested on both" in notice.what


def three():
    rng = np.random.default_rng(4)
    plain, rough = Truth(material="plain"), Truth(theta=HIGH)
    worn = replace(rough, state="worn", theta=(0.15, -0.006, -0.0008, -0.06))
    return concatenate([drawn(truth, rng, 0.3) for truth in (plain, rough, worn)])


def test_worn_is_compared_with_new_and_a_missing_baseline_is_named():
    fits, ratios = compared(three())
    assert [(r.group, r.against) for r in ratios] == [(ROUGH, PLAIN), (WORN, ROUGH)]
    (notice,) = comparison_notices(ratios, fits, baseline="plain", reference=REFERENCE)
    assert notice.severity is Severity.LEFT_OUT
    assert "there is no fit of plain (worn)" in notice.what


def test_several_comparisons_are_corrected_together():
    points = three()
    fits, ratios = compared(points)
    only = {g: f for g, f in fits.items() if g != WORN}
    (alone,) = compare_groups(points, only, baseline="plain", reference=REFERENCE)
    assert ratios[0].p_different >= alone.p_different
    assert ratios[0].low[0] == alone.low[0]


@pytest.mark.parametrize("margin", [0.0, 1.0, -0.1])
def test_a_margin_without_meaning_is_refused(margin):
    points = two()
    with pytest.raises(ComparisonError, match="margin"):
        compared(points, margin=margin)


def test_order_of_the_points_changes_nothing():
    points = two()
    order = np.random.default_rng(8).permutation(len(points))
    (one,), (other,) = compared(points)[1], compared(points.select(order))[1]
    assert other.ratio[0] == pytest.approx(one.ratio[0], rel=1e-9)
    assert other.high[0] == pytest.approx(one.high[0], rel=1e-7)


def test_ratios_survive_their_file(tmp_path):
    _, ratios = compared(three())
    moved = compared(two(speeds=(0.3, 1.5)))[1]
    path = tmp_path / "comparison.csv"
    for written in (ratios, moved):
        path.write_text(ratios_text(written), encoding="utf-8")
        back = read_ratios(path)
        assert len(back) == len(written)
        for one, other in zip(written, back, strict=True):
            for name in ("ratio", "low", "high", "u_ratio", "u_unshared", "u_group", "u_against"):
                assert np.array_equal(getattr(one, name), getattr(other, name)), name
            for name in AXES:
                assert np.array_equal(
                    getattr(one.conditions, name), getattr(other.conditions, name)
                )
            for name in (
                "group",
                "against",
                "named",
                "calibration",
                "verdict",
                "words",
                "margin",
                "notices",
                "p_different",
            ):
                assert getattr(one, name) == getattr(other, name), name


def test_the_quoted_row_comes_first():
    frame = ratios_frame(compared(three())[1])
    assert tuple(frame.columns) == COLUMNS
    quoted = frame[frame["place"] == "quoted"]
    assert len(quoted) == 2
    assert quoted["slip_speed_m_s"].tolist() == [0.1, 0.1]


def test_no_ratios_make_an_empty_file(tmp_path):
    (tmp_path / "comparison.csv").write_text(ratios_text([]), encoding="utf-8")
    assert read_ratios(tmp_path / "comparison.csv") == ()


def test_a_file_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "comparison.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(ResultError, match="lacks the columns"):
        read_ratios(path)
    with pytest.raises(ResultError, match="cannot be read"):
        read_ratios(tmp_path / "none.csv")
