"""Traits of two groups: truth, what cancels, what is said, and what cannot be compared."""

import json
from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn
from scipy import optimize, stats

from rigdata.bedding.results import TimeToBed
from rigdata.comparison.pair_fits import fit_pairs
from rigdata.comparison.trait_differences import compare_traits
from rigdata.comparison.trait_kinds import Measured, Side, TraitKind
from rigdata.comparison.trait_measures import TRAITS, of_mean_squares, of_times_to_bed
from rigdata.comparison.traits_file import read_traits, traits_to_dict
from rigdata.errors import ResultError
from rigdata.friction.fit import fit_campaign, split
from rigdata.friction.pooled_fits import choose_scatter
from rigdata.friction.results import Group
from rigdata.friction.static import fit_static
from rigdata.reduction.points import concatenate

PLAIN, ROUGH = Group("plain", "new"), Group("rough", "new")
LOW = (0.10, -0.004, -0.0008, -0.06)
HIGH = (0.14, 0.003, -0.0005, -0.04)
SLOPE, STEP, FADE, PRESSURE, SPREAD, BED_IN = (kind.name for kind in TRAITS)
TRUE = {
    SLOPE: (0.03, -0.04),
    STEP: (0.97, 1.20),
    FADE: (100 * np.expm1(-0.05), 100 * np.expm1(-0.08)),
    PRESSURE: (100 * (2**-0.04 - 1), 100 * (2**-0.06 - 1)),
}


def points_of(seed=1, *, theta=HIGH, static=True, gain=0.7, rough=None, **changes):
    rng = np.random.default_rng(seed)
    changes = {"runs": (3, 3), "points": (8, 8), **changes}
    parts = []
    for truth, level in (
        (Truth(material="plain", theta=LOW, **changes), 0.12),
        (Truth(material="rough", theta=theta, **{**changes, **(rough or {})}), 0.1358),
    ):
        parts.append(drawn(truth, rng, gain))
        if static:
            rest = {"kind": "static", "law": "constant", "theta": (level,)}
            parts.append(drawn(replace(truth, **rest, runs=(2, 2), points=(5, 5)), rng, gain))
    return concatenate(parts)


def fitted(points, laws=("log-speed",), baseline="plain"):
    kinetic = fit_campaign(points, REFERENCE, laws=laws)
    static, _ = fit_static(points, REFERENCE)
    pairs = fit_pairs(points, kinetic, baseline=baseline, reference=REFERENCE)
    return pairs, points, static


def by_name(traits):
    return {one.trait: one for one in traits}


def bedded(group, logs):
    """The time to bed in that t on the logarithms of packs gives; one J/mm2 is 2 kJ."""
    n, mean = logs.size, logs.mean()
    reach = stats.t.ppf(0.975, n - 1) * logs.std(ddof=1) / np.sqrt(n)
    low, middle, high = np.exp([mean - reach, mean, mean + reach]).tolist()
    return TimeToBed(group, n, 0, 2 * middle, 2 * low, 2 * high, np.nan, np.nan, middle, "")


@pytest.fixture(scope="module")
def pair():
    return fitted(points_of(pack_sd=0.01, packs=4, runs=(4, 4), points=(10, 10)))


@pytest.fixture(scope="module")
def found(pair):
    logs = {ROUGH: np.array([1.0, 1.2, 0.9, 1.1]), PLAIN: np.array([0.4, 0.5, 0.3])}
    return by_name(
        compare_traits(*pair, {group: bedded(group, own) for group, own in logs.items()})
    )


def test_each_trait_lies_near_its_truth(found):
    """Within one and a half times its 95 % interval: a dozen intervals need not all hold."""
    for name, (rough, plain) in TRUE.items():
        told = found[name].measured
        sides = (told.group, told.against, told.difference)
        for side, true in zip(sides, (rough, plain, rough - plain), strict=True):
            assert abs(side.value - true) < 1.5 * (side.high - side.value), name


def test_what_differs_is_told_with_what_it_means(found):
    assert found[SLOPE].verdict == found[FADE].verdict == "higher"
    assert found[STEP].verdict == "lower"
    assert found[SPREAD].verdict == "no difference shown"
    assert "dmu/dv of rough (new) is higher than that of plain (new)" in found[SLOPE].words
    assert "(less prone to chatter)" in found[SLOPE].words
    assert "(fades less)" in found[FADE].words
    assert "a smaller step at breakaway" in found[STEP].words
    assert "% against" not in found[SPREAD].words
    assert "would have been shown four times in five" in found[SPREAD].words
    assert "a factor of" in found[SPREAD].words


def test_the_other_way_round_is_the_difference_turned(pair, found):
    turned = by_name(compare_traits(*fitted(pair[1], baseline="rough")))
    for name in (SLOPE, STEP, FADE, PRESSURE):
        one, other = found[name].measured, turned[name].measured
        assert other.difference.value == pytest.approx(-one.difference.value, rel=1e-5), name
        assert other.difference.low == pytest.approx(-one.difference.high, rel=1e-4), name
    ratio, turned_ratio = found[SPREAD].measured.difference, turned[SPREAD].measured.difference
    assert turned_ratio.value == pytest.approx(1.0 / ratio.value, rel=1e-9)
    assert turned_ratio.low == pytest.approx(1.0 / ratio.high, rel=1e-9)


def test_a_shared_calibration_cancels_from_the_difference_of_slopes():
    """A gain known to 10 % leaves each slope that uncertain, and not the difference of equals."""
    scale = {"gain_u": 0.1, "pack_sd": 0.002, "run_sd": 0.002, "point_sd": 0.002, "zero_u": 1e-5}
    points = points_of(theta=LOW, static=False, **scale)
    apart = points_of(theta=LOW, static=False, rough={"record": "T2"}, **scale)
    shared, separate = (
        by_name(compare_traits(*fitted(given)))[SLOPE].measured for given in (points, apart)
    )
    assert shared.group.u == pytest.approx(0.1 * 0.04, rel=0.1)
    assert separate.difference.u == pytest.approx(np.sqrt(2.0) * 0.1 * 0.04, rel=0.1)
    assert shared.difference.u < 0.1 * separate.difference.u


def test_the_uncertainty_of_a_difference_is_that_of_the_joint_parameters(pair, found):
    """By hand for the log law: a / v, 100 (exp(100 K b) - 1) and 100 (2^c - 1)."""
    joint = pair[0][0].joint
    rough, plain = (part.start + 1 for part in joint.design.columns)
    covariance = joint.estimate.covariance
    variance = covariance[rough, rough] + covariance[plain, plain] - 2 * covariance[rough, plain]
    told = found[SLOPE].measured
    assert told.difference.u == pytest.approx(np.sqrt(variance) / 0.1, rel=1e-6)
    theta = joint.estimate.theta
    assert told.difference.value == pytest.approx((theta[rough] - theta[plain]) / 0.1, rel=1e-6)
    for name, place, rate, step in (
        (FADE, 1, lambda b: 1e4 * np.exp(100.0 * b), lambda b: 100.0 * np.expm1(100.0 * b)),
        (PRESSURE, 2, lambda c: 100.0 * np.log(2.0) * 2.0**c, lambda c: 100.0 * (2.0**c - 1.0)),
    ):
        i = rough + place
        side = found[name].measured.group
        assert side.value == pytest.approx(step(theta[i]), rel=1e-9)
        assert side.u == pytest.approx(rate(theta[i]) * np.sqrt(covariance[i, i]), rel=1e-9)


def test_findable_is_found_four_times_in_five(found):
    """For a spread known as well as here, by Student's t of about as many degrees of freedom."""
    told = found[STEP].measured
    t95 = (told.difference.high - told.difference.value) / told.difference.u
    dof = optimize.brentq(lambda nu: stats.t.ppf(0.975, nu) - t95, 1.0, 1e6)
    assert dof < 20.0
    power = stats.nct.sf(t95, dof, told.detectable / told.difference.u)
    assert power == pytest.approx(0.8, abs=0.03)


def test_spreads_are_held_against_f():
    """Of 3 and 5 degrees of freedom, where packs of the first differ twice as much."""
    rng = np.random.default_rng(3)
    held = []
    for one, other in stats.chi2.rvs([3, 5], size=(200, 2), random_state=rng) / [3, 5]:
        told = of_mean_squares((4.0 * one, 3.0), (other, 5.0)).difference
        held.append(told.low <= 2.0 <= told.high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.04)
    low = of_mean_squares((4.0, 3.0), (1.0, 5.0)).difference.low
    edge = of_mean_squares((4.0 / low**2, 3.0), (1.0, 5.0))
    assert edge.p == pytest.approx(0.05)
    assert edge.difference.low == pytest.approx(1.0)
    square = edge.detectable**2
    power = [
        stats.f.sf(stats.f.ppf(0.975, a, b) / square, a, b) for a, b in ((3.0, 5.0), (5.0, 3.0))
    ]
    assert min(power) == pytest.approx(0.8)


def test_p_follows_the_interval(found):
    for name, one in found.items():
        outside = not one.measured.difference.low <= one.neutral <= one.measured.difference.high
        assert outside == (one.measured.p < 0.05), name


def test_all_that_is_compared_together_is_corrected_together(pair):
    traits = compare_traits(*pair)
    few = compare_traits(*pair, kinds=TRAITS[2:3])
    (alone,) = few
    assert alone.p == pytest.approx(alone.measured.p)
    assert by_name(traits)[alone.trait].p > alone.p


def test_a_finding_that_is_not_certain_among_many_is_said_so(pair):
    def measured(p, low):
        side = Side(1.0, 0.1, 0.8, 1.2)
        return lambda _: Measured(side, side, Side(0.3, 0.1, low, 0.5), p, 0.4)

    kinds = [TraitKind(f"t{i}", "1", "t", "more", "less", measured(0.03, 0.1)) for i in range(3)]
    first, *_ = compare_traits(*pair, kinds=kinds)
    assert first.p == pytest.approx(0.09)
    assert first.verdict == "no difference shown"
    assert first.clear_alone
    assert "seems higher" in first.words
    assert "this is not certain" in first.words


def test_a_new_trait_is_one_entry(pair):
    """Any function of a pair will do, such as the number of packs' points here."""

    def count(given):
        sizes = [fit.n_points for fit in given.fitted.fits]
        sides = [Side(n, 1.0, n - 2.0, n + 2.0) for n in (*sizes, sizes[0] - sizes[1])]
        return Measured(*sides, 0.5, 3.0)

    kinds = (*TRAITS, TraitKind("points", "1", "points", "more of them", "fewer", count))
    assert by_name(compare_traits(*pair, kinds=kinds))["points"].measured.p == 0.5


def test_what_cannot_be_compared_says_why():
    points = points_of(static=False, packs=1)
    kinetic = fit_campaign(points, REFERENCE, laws=["constant", "log-speed"])
    flat = fit_campaign(points, REFERENCE, laws=["constant"])
    mixed = {PLAIN: flat[PLAIN], ROUGH: kinetic[ROUGH]}
    pairs = fit_pairs(points, mixed, baseline="plain", reference=REFERENCE)
    found = by_name(compare_traits(pairs, points, {}))
    assert {one.verdict for one in found.values()} == {"not compared"}
    assert all(one.measured is None for one in found.values())
    for name, why in (
        (SLOPE, "the constant law taken for plain (new) does not follow slip speed"),
        (STEP, "there is no static coefficient of rough (new)"),
        (FADE, "the constant law taken for plain (new) does not follow temperature"),
        (PRESSURE, "the constant law taken for plain (new) does not follow pressure"),
        (SPREAD, "one pack alone was tested of rough (new)"),
    ):
        assert found[name].words.endswith(why), name


def test_temperatures_tested_apart_give_no_fade_to_compare():
    warm = {"temperatures": (76.0, 120.0)}
    points = points_of(static=False, temperatures=(40.0, 84.0), rough=warm)
    found = by_name(compare_traits(*fitted(points)))
    assert found[FADE].words.endswith("temperature was varied too little on both together")
    assert found[SLOPE].measured is not None


def test_a_spread_that_was_taken_together_is_not_compared():
    points = points_of(2, static=False)
    groups = split(points, "kinetic")
    kinetic = choose_scatter(
        fit_campaign(points, REFERENCE, laws=["log-speed"]), groups, pool_scatter=True
    )
    pairs = fit_pairs(points, kinetic, baseline="plain", reference=REFERENCE)
    spread = by_name(compare_traits(pairs, points, {}))[SPREAD]
    assert "was taken from all groups together" in spread.words


def test_traits_survive_their_file(found, tmp_path):
    path = tmp_path / "traits.json"
    written = list(found.values())
    path.write_text(json.dumps(traits_to_dict(written)), encoding="utf-8")
    assert list(read_traits(path)) == written
    for text in ('{"format": 2, "traits": []}', '{"format": 1, "traits": [{"trait": "x"}]}'):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(ResultError, match="Compare the groups again"):
            read_traits(path)


def test_times_to_bed_in_are_compared_as_welch_compares_logarithms():
    rng = np.random.default_rng(12)
    logs = rng.normal(1.0, 0.2, 4), rng.normal(0.4, 0.1, 3)
    first, second = (bedded(Group(name, "new"), own) for name, own in zip("ab", logs, strict=True))
    found = of_times_to_bed(first, second)
    expected = stats.ttest_ind(*logs, equal_var=False)
    ends = np.exp(expected.confidence_interval(0.95))
    assert found.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert (found.difference.low, found.difference.high) == pytest.approx(tuple(ends), rel=1e-9)
    assert found.group.low == pytest.approx(first.low / 2)
    assert found.group.value == pytest.approx(np.exp(logs[0].mean()))


def test_groups_without_a_pack_that_was_seen_to_bed_in_say_so(pair):
    told = by_name(compare_traits(*pair))[BED_IN]
    assert told.measured is None
    assert "was seen to bed in" in told.words
