"""From points to fits: choice of the law, notices, intervals, files."""

import contextlib
import json
import re
from dataclasses import fields, replace

import numpy as np
import pytest
from friction_points import OIL, REFERENCE, THETA, Truth, drawn
from scipy import sparse

from rigdata.errors import FitError, ResultError, Severity
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.fit import fit_campaign, groups_left_out
from rigdata.friction.fits_file import fits_from_dict, fits_to_dict, read_fits, write_fits
from rigdata.friction.results import Group, Prediction
from rigdata.friction.static import fit_static
from rigdata.reduction.points import concatenate
from rigdata.uncertainty.sources import Effect, Scope, Source

NEW = Group("rough", "new")


def fit_of(truth, seed=1, **options):
    return fit_campaign(drawn(truth, np.random.default_rng(seed)), REFERENCE, **options)[NEW]


@pytest.mark.parametrize("name", THETA)
def test_the_law_that_made_the_points_is_chosen(name):
    chosen = [fit_of(Truth(law=name, theta=THETA[name]), seed, oil=OIL).law for seed in range(8)]
    assert chosen.count(name) >= 7


def test_every_candidate_keeps_its_score():
    fit = fit_of(Truth())
    formulas = ["constant", "log-speed", "stribeck", "quadratic"]
    assert [s.law for s in fit.ranking] == [*formulas, "surface"]
    (chosen,) = (s for s in fit.ranking if s.chosen)
    assert chosen.law == fit.law == "log-speed"
    assert chosen.n_parameters == 4
    assert fit.ranking[0].aicc > chosen.aicc + 100
    assert fit.ranking[0].left_out_loss > 10 * chosen.left_out_loss
    assert chosen.reason == "taken: simplest within one standard error"
    assert "s.e. worse on packs left out" in fit.ranking[0].reason
    assert re.fullmatch(r"AICc \d+ above the best", fit.ranking[3].reason)


def test_only_the_laws_asked_for_are_tried():
    fit = fit_of(Truth(), laws=["constant"])
    assert [s.law for s in fit.ranking] == ["constant"]
    assert fit.scatter.misfit > 0.03  # the slope that the law cannot follow


def test_axes_that_were_not_varied_hold_their_coefficient_and_say_so():
    fit = fit_of(Truth(temperatures=(78.0, 84.0), pressures=(1.0, 1.0)))
    assert fit.law == "log-speed"
    assert fit.not_identified == ("b", "c")
    assert fit.parameters["b"] == fit.parameters["c"] == 0.0
    told = [str(n) for n in fit.notices]
    assert any("b (relative change of mu per kelvin) is held at 0" in n for n in told)
    assert any("pressures a factor of 1.3 apart" in n for n in told)


def test_speed_that_was_not_varied_leaves_no_law_of_speed():
    fit = fit_of(Truth(speeds=(0.1, 0.15)))
    stribeck = next(s for s in fit.ranking if s.law == "stribeck")
    assert not stribeck.identified
    assert "varied too little" in stribeck.remark
    assert stribeck.reason == f"set aside: {stribeck.remark}"
    assert "a" in fit.not_identified or fit.law == "constant"


def test_a_stribeck_law_that_the_points_do_not_determine_is_set_aside():
    """Only the flat end of the curve was tested."""
    fit = fit_of(Truth(law="stribeck", theta=THETA["stribeck"], speeds=(0.4, 1.0)))
    assert fit.law != "stribeck"
    (reason,) = (s.reason for s in fit.ranking if s.law == "stribeck")
    assert reason.startswith("set aside: ")
    assert reason.endswith("not determined")
    assert any("stribeck law set aside" in str(n) for n in fit.notices)


def test_quadratic_terms_that_the_tests_cannot_show_are_held_and_named():
    truth = Truth(law="quadratic", theta=THETA["quadratic"], pressures=(1.0, 1.0))
    fit = fit_of(truth)
    assert fit.law == "quadratic"
    assert fit.not_identified == ("c3", "c33", "c13", "c23")
    assert all(fit.parameters[name] == 0.0 for name in fit.not_identified)
    told = [str(n) for n in fit.notices]
    assert any("c13 (how the effect of slip speed" in n and "pressures a factor" in n for n in told)


def test_a_square_between_two_temperatures_is_held():
    rng = np.random.default_rng(1)
    truth = Truth(law="quadratic", theta=THETA["quadratic"])
    cold, hot = (
        drawn(replace(truth, packs=3, material="rough", temperatures=(t, t + 0.5)), rng, 0.3)
        for t in (60.0, 100.0)
    )
    hot = replace(hot, run=np.char.add(hot.run, "h"), point=np.char.add(hot.point, "h"))
    fit = fit_campaign(concatenate([cold, hot]), REFERENCE, laws=["quadratic"])[NEW]
    assert fit.not_identified == ("c22",)
    assert any("Test more values of temperature" in str(n) for n in fit.notices)


def test_hersey_is_tried_only_with_an_oil_and_may_be_asked_for():
    assert "hersey" in [s.law for s in fit_of(Truth(), oil=OIL).ranking]
    truth = Truth(law="hersey", theta=THETA["hersey"])
    assert fit_of(truth, laws=["hersey"], oil=OIL).law == "hersey"
    with pytest.raises(FitError, match="needs the viscosity"):
        fit_of(truth, laws=["hersey"])


def test_one_pack_has_no_interval_for_the_next():
    fit = fit_of(Truth(packs=1))
    told = fit.predict(at(REFERENCE))
    assert np.isfinite(told.mean_low).all()
    assert np.isnan(told.next_pack_low).all()
    assert np.isnan(told.next_pack_high).all()
    assert np.isnan(told.next_run_high).all()
    assert fit.scatter.pack is None
    assert any("one pack only" in str(n) for n in fit.notices)


def test_intervals_lie_inside_each_other_and_about_the_mean():
    told = fit_of(Truth()).predict(Conditions(np.geomspace(0.01, 1.0, 9), 80.0, 1.0))
    assert np.all(told.next_run_low <= told.next_pack_low)
    assert np.all(told.next_pack_low < told.mean_low)
    assert np.all(told.mean_low < told.mu)
    assert np.all(told.mu < told.mean_high)
    assert np.all(told.mean_high < told.next_pack_high)
    assert told.inside.all()


def test_packs_run_once_make_no_difference_between_a_pack_and_a_run():
    told = fit_of(Truth(packs=4, runs=(1, 1))).predict(at(REFERENCE))
    assert told.next_run_high == told.next_pack_high
    assert told.next_run_low == told.next_pack_low


def test_runs_of_one_point_each_still_tell_packs_from_runs():
    one_point = Truth(layout=((1,) * 5,) * 4, law="constant", theta=(0.12,), run_sd=0.02)
    told = fit_of(one_point, laws=["constant"]).predict(at(REFERENCE))
    assert told.next_run_high > told.next_pack_high


def test_few_packs_have_wider_intervals_than_two_standard_uncertainties():
    told = fit_of(Truth(packs=3)).predict(at(REFERENCE))
    assert (told.mean_high - told.mu)[0] > 3.0 * told.u_mu[0]


def test_measurement_that_explains_all_scatter_has_chi_square_near_one():
    fit = fit_of(Truth(pack_sd=0.0, run_sd=0.0))
    assert fit.chi2_measurement == pytest.approx(1.0, abs=0.35)
    assert fit_of(Truth(pack_sd=0.0, run_sd=0.0, misfit_sd=0.02)).chi2_measurement > 3.0


def test_a_law_that_misses_the_points_leaves_a_trend():
    fit = fit_of(Truth(law="stribeck", theta=THETA["stribeck"]), laws=["log-speed"])
    assert abs(fit.residual_trend["slip_speed_m_s"]) > 3.0
    (notice,) = (n for n in fit.notices if "misses the points by more than chance" in n.what)
    assert notice.severity is Severity.WARNING
    assert fit.adequacy.along == "slip_speed_m_s"


def test_a_surface_is_taken_where_every_formula_misses_the_points():
    fit = fit_of(Truth(bump=0.08), oil=OIL)
    assert fit.law == "surface"
    assert fit.adequacy.law != "surface"
    (notice,) = (n for n in fit.notices if n.severity is Severity.WARNING)
    assert "every formula misses the points, so a smooth surface is taken" in notice.what
    assert "m/s" in notice.what
    reasons = {score.law: score.reason for score in fit.ranking}
    assert reasons["surface"] == "taken: every formula misses the points"
    assert reasons[fit.adequacy.law] == "the best formula, but it misses the points"
    where = Conditions(np.geomspace(0.02, 0.6, 15), 80.0, 1.0)
    told, truth = fit.predict(where), Truth(bump=0.08).mu(where)
    assert np.std(told.mu / truth) < 0.005
    assert np.all((told.mean_low < truth) & (truth < told.mean_high))


def test_a_surface_is_not_needed_where_a_formula_follows_the_points():
    fit = fit_of(Truth())
    assert not fit.adequacy.flagged
    (idle,) = (s for s in fit.ranking if s.law == "surface")
    assert idle.reason == "not needed: the log-speed law follows the points"
    assert not any("surface" in str(n) for n in fit.notices)


def test_a_surface_is_no_resort_for_those_who_named_their_laws():
    fit = fit_of(Truth(bump=0.08), laws=["log-speed", "stribeck"])
    assert fit.law in ("log-speed", "stribeck")
    assert any("or let all laws be tried" in n.do for n in fit.notices)
    named = fit_of(Truth(bump=0.08), laws=["log-speed", "stribeck", "surface"])
    assert named.law == "surface"


def test_a_surface_may_be_asked_for_alone():
    fit = fit_of(Truth(), laws=["surface"])
    assert fit.law == "surface"
    assert fit.adequacy is None


def test_a_source_that_is_off_is_named():
    """A cause whose course over slip speed no law can follow, off by five of its sds."""
    points = drawn(Truth(), np.random.default_rng(3))
    course = 0.001 * np.sin(6 * np.log(points.slip_speed_m_s))
    cause = Source("aliasing:rig", Scope.RIG, Effect.ADDITIVE, "aliasing")
    told = replace(
        points,
        mu=points.mu + 5 * course,
        sources=(*points.sources, cause),
        contributions=sparse.csr_array(sparse.hstack([points.contributions, course[:, None]])),
        condition_shifts=None,
    )
    fit = fit_campaign(told, REFERENCE, laws=["log-speed"])[NEW]
    assert fit.pulls["aliasing:rig"] == pytest.approx(5.0, abs=0.6)
    assert any("aliasing:rig is pulled by +" in str(n) for n in fit.notices)


def test_points_not_used_are_left_aside():
    points = drawn(Truth(), np.random.default_rng(5))
    spoiled = replace(points, mu=np.where(np.arange(len(points)) < 20, 0.5, points.mu))
    flagged = spoiled.not_used(np.arange(len(points)) < 20, "spike")
    fit = fit_campaign(flagged, REFERENCE)[NEW]
    assert fit.n_points == len(points) - 20
    assert fit.parameters["mu0"] == pytest.approx(0.12, rel=0.1)


def test_a_group_with_too_few_points_is_left_out_and_named():
    rng = np.random.default_rng(2)
    lone = drawn(Truth(material="plain", packs=1, runs=(1, 1), points=(2, 2)), rng)
    points = concatenate([drawn(Truth(), rng), lone])
    assert list(fit_campaign(points, REFERENCE)) == [NEW]
    (notice,) = groups_left_out(points)
    assert notice.severity is Severity.LEFT_OUT
    assert "plain (new)" in str(notice)
    with pytest.raises(FitError, match="no group has enough"):
        fit_campaign(lone, REFERENCE)


def test_three_points_are_enough_for_a_constant():
    lone = drawn(Truth(packs=1, runs=(1, 1), points=(3, 3)), np.random.default_rng(2))
    fit = fit_campaign(lone, REFERENCE)[NEW]
    assert fit.law == "constant"
    assert 0.08 < fit.parameters["mu0"] < 0.16


def test_static_points_give_a_mean_with_both_intervals():
    rng = np.random.default_rng(4)
    at_rest = drawn(Truth(kind="static", law="constant", theta=(0.15,)), rng)
    fits, notices = fit_static(concatenate([drawn(Truth(), rng), at_rest]), REFERENCE)
    fit = fits[NEW]
    told = fit.predict(Conditions(0.0, 80.0, 1.0))
    assert told.inside.all()
    assert told.next_pack_low < 0.15 < told.next_pack_high
    assert told.mean_low > told.next_pack_low
    assert any(f"mean of {len(at_rest)} breakaways over" in str(n) for n in notices)


def test_too_few_static_points_are_named():
    lone = drawn(
        Truth(kind="static", law="constant", theta=(0.15,), packs=1, runs=(1, 1), points=(2, 2)),
        np.random.default_rng(4),
    )
    fits, notices = fit_static(lone, REFERENCE)
    assert not fits
    assert "2 breakaway points" in str(notices[0])


def assert_same(one, other):
    where = Conditions(np.geomspace(0.005, 2.0, 30), np.linspace(20, 140, 30), 1.2)
    for field in fields(Prediction):
        left, right = (getattr(fit.predict(where), field.name) for fit in (one, other))
        assert np.array_equal(left, right, equal_nan=True), field.name
    assert one.group == other.group
    assert one.ranking == other.ranking
    assert one.notices == other.notices
    assert one.scatter == other.scatter
    assert dict(one.pulls) == dict(other.pulls)
    assert one.reference == other.reference
    assert one.oil == other.oil
    assert one.knots == other.knots
    assert one.adequacy == other.adequacy
    assert one.deletions == other.deletions
    assert one.estimate.every_variance == other.estimate.every_variance
    assert np.array_equal(one.residual, other.residual)


@pytest.mark.parametrize("packs", [1, 3])
def test_fits_survive_json_to_the_last_bit(packs):
    rng = np.random.default_rng(6)
    at_rest = drawn(Truth(kind="static", law="constant", theta=(0.15,), packs=packs), rng)
    points = concatenate([drawn(Truth(packs=packs), rng), at_rest])
    kinetic, (static, _) = fit_campaign(points, REFERENCE), fit_static(points, REFERENCE)
    text = json.dumps(fits_to_dict(kinetic, static), allow_nan=False)
    back_kinetic, back_static = fits_from_dict(json.loads(text))
    assert_same(kinetic[NEW], back_kinetic[NEW])
    assert_same(static[NEW], back_static[NEW])


@pytest.mark.parametrize("name", ["log-speed", "quadratic", "hersey", "surface"])
def test_fits_survive_their_file(tmp_path, name):
    truth = Truth(bump=0.08) if name == "surface" else Truth(law=name, theta=THETA[name])
    kinetic = fit_campaign(drawn(truth, np.random.default_rng(6)), REFERENCE, oil=OIL)
    assert kinetic[NEW].law == name
    write_fits(tmp_path / "fits.json", kinetic)
    back, static = read_fits(tmp_path / "fits.json")
    assert_same(kinetic[NEW], back[NEW])
    assert static == {}


@pytest.mark.parametrize(
    "spoil", [{"format": 99}, {"kinetic": [{"law": "log-speed"}]}, {"static": 3}]
)
def test_a_file_of_another_kind_is_refused(spoil):
    data = fits_to_dict(fit_campaign(drawn(Truth(), np.random.default_rng(6)), REFERENCE))
    with pytest.raises(ResultError):
        fits_from_dict({**data, **spoil})


@pytest.mark.parametrize("seed", range(5))
def test_layouts_of_a_few_points_are_fitted_or_refused_in_words(seed):
    """No layout, however small or lopsided, ends in an error of the algebra."""
    rng = np.random.default_rng(seed)
    name = list(THETA)[seed]
    for _ in range(2):
        sizes = (rng.integers(1, 7, size=rng.integers(1, 4)) for _ in range(rng.integers(1, 4)))
        layout = tuple(tuple(map(int, own)) for own in sizes)
        truth = Truth(law=name, theta=THETA[name], layout=layout)
        with contextlib.suppress(FitError):
            assert np.all(np.isfinite(fit_of(truth, seed, oil=OIL).residual))
