"""Static fits: what planted breakaways give back, and what is said of what they do not show."""

import json
from dataclasses import replace

import numpy as np
import pytest
from friction_points import DWELL_THETA, REFERENCE, Truth, drawn

from rigdata.errors import FitError
from rigdata.friction.conditions import ALL_AXES, AXES, DWELL, Conditions, at
from rigdata.friction.fit import fit_campaign
from rigdata.friction.fits_file import fits_from_dict, fits_to_dict
from rigdata.friction.results import Group
from rigdata.friction.slopes import follows
from rigdata.friction.static import fit_static, static_reference
from rigdata.reduction.points import concatenate

NEW = Group("rough", "new")
RESTS = Truth(
    kind="static",
    law="dwell",
    theta=DWELL_THETA,
    dwells=(0.5, 60.0),
    points=(5, 8),
    run_sd=0.002,
)


def fitted(truth, seed=4, **options):
    points = drawn(truth, np.random.default_rng(seed))
    fits, notices = fit_static(points, REFERENCE, **options)
    return points, fits.get(NEW), [str(notice) for notice in notices]


def test_planted_dwell_law_is_chosen_and_found_again():
    _, fit, told = fitted(RESTS)
    assert fit.law == "dwell"
    assert [axis for axis in ALL_AXES if follows(fit, axis)] == [*AXES[1:], DWELL]
    u = np.sqrt(np.diag(fit.covariance))
    for name, value, truth, spread in zip(fit.form.names, fit.theta, RESTS.theta, u, strict=True):
        assert abs(value - truth) < 3.0 * max(spread, 1e-12) + 1e-12, name
    assert u[1] < 0.3 * fit.parameters["a"]
    assert not any("mean of" in line for line in told)


def test_t0_is_held_and_said_where_the_dwells_do_not_straddle_it():
    _, fit, told = fitted(replace(RESTS, dwells=(5.0, 60.0)))
    assert "t0" in fit.not_identified
    assert fit.parameters["t0"] == 1.0
    assert any("t0 (dwell from which the rise counts) is held at 1 s" in line for line in told)


def test_t0_is_found_where_the_data_determine_it():
    """A steep rise that sets in after 8 s, with dwells from 0.3 to 500 s and little noise."""
    theta = (0.13, 0.01, 8.0, -0.0008, -0.06)
    sharp = replace(
        RESTS, theta=theta, dwells=(0.3, 500.0), points=(12, 15), point_sd=0.002, pack_sd=0.005
    )
    _, fit, _ = fitted(sharp)
    assert "t0" not in fit.not_identified
    u = float(np.sqrt(fit.covariance[2, 2]))
    assert u < 0.1 * 8.0
    assert abs(fit.parameters["t0"] - 8.0) < 3.0 * u


@pytest.mark.parametrize("t0", [0.1, 10.0])
def test_a_wrong_t0_moves_nothing_that_matters_between_the_dwells_tested(t0):
    """With t0 held at 1 s instead of the true one, mu stays within 0.2 % inside the tests."""
    theta = (0.13, 0.0012, t0, -0.0008, -0.06)
    true = replace(RESTS, theta=theta, dwells=(2.0, 40.0), point_sd=1e-4, pack_sd=0.0, run_sd=0.0)
    exact = replace(true, gain_u=1e-6, radius_u=1e-6, zero_u=1e-7)
    _, fit, _ = fitted(exact, laws=["dwell"])
    where = Conditions(0.0, 80.0, 1.0, np.geomspace(2.0, 40.0, 30))
    error = np.abs(fit.predict(where).mu / true.mu(where) - 1.0)
    assert error.max() < 0.002


def test_a_single_dwell_gives_the_static_law_and_says_that_the_dwell_is_not_followed():
    _, fit, told = fitted(replace(RESTS, dwells=(4.0, 4.2)))
    assert fit.law == "static"
    (line,) = [line for line in told if "mean of" in line]
    assert "dwell 4 to 4.2 s" in line
    assert "degC" not in line
    assert "Test after dwells a factor of 3 apart" in line
    (score,) = [score for score in fit.ranking if score.law == "dwell"]
    assert "a, t0 held" in score.remark


def test_asked_for_over_a_single_dwell_the_dwell_law_holds_its_rise():
    _, fit, told = fitted(replace(RESTS, dwells=(4.0, 4.2)), laws=["dwell"])
    assert fit.law == "dwell"
    assert fit.parameters["a"] == 0.0
    assert any(
        "a (rise of the static coefficient per e-fold of dwell) is held at 0: "
        "tests span only 4 to 4.2 in dwell. Test at dwells a factor of 3 apart" in line
        for line in told
    )


def test_a_law_that_comes_out_as_another_is_not_scored_twice():
    one_place = replace(RESTS, temperatures=(80.0, 81.0), pressures=(1.0, 1.01))
    _, fit, _ = fitted(one_place)
    scores = {score.law: score for score in fit.ranking}
    assert "the same as the constant law" in scores["static"].reason
    assert scores["static"].aicc is None
    assert scores["constant"].aicc is not None


def test_three_breakaways_give_a_mean():
    few = replace(RESTS, packs=1, runs=(1, 1), points=(3, 3))
    _, fit, told = fitted(few)
    assert fit.law == "constant"
    assert fit.n_points == 3
    assert any("mean of 3 breakaways over" in line and "dwell 0.5 to 60 s" in line for line in told)
    assert {score.law: score.remark for score in fit.ranking}["dwell"] == (
        "3 points are too few for this law"
    )


def test_a_dwell_that_is_not_known_is_said_and_not_followed():
    points = drawn(RESTS, np.random.default_rng(4))
    dwell = points.dwell_s.copy()
    dwell[3] = np.nan
    fits, notices = fit_static(replace(points, dwell_s=dwell), REFERENCE)
    assert fits[NEW].law == "static"
    assert fits[NEW].envelope.axes == ("slip_speed_m_s", "temperature_c", "pressure_mpa")
    assert any("dwell of 1 not known" in str(notice) for notice in notices)
    nothing, (left_out,) = fit_static(replace(points, dwell_s=dwell), REFERENCE, laws=["dwell"])
    assert nothing == {}
    assert "needs the dwell of every breakaway" in left_out.what


def test_numbers_are_quoted_after_the_median_dwell_unless_told_otherwise():
    points, fit, told = fitted(RESTS)
    median = float(np.median(points.dwell_s))
    assert fit.reference.slip_speed_m_s == 0.0
    assert fit.reference.dwell_s == pytest.approx(median, rel=0.05)
    assert any(f"quoted after {fit.reference.dwell_s:g} s at rest, the median" in t for t in told)
    here = fit.predict(at(fit.reference))
    assert here.inside[0]
    assert here.mu[0] == fit.predict(Conditions(0.0, 80.0, 1.0)).mu[0]
    asked = replace(REFERENCE, dwell_s=20.0)
    fits, notices = fit_static(points, asked)
    assert fits[NEW].reference == replace(asked, slip_speed_m_s=0.0)
    assert fits[NEW].predict(at(asked)).mu[0] > here.mu[0]
    assert not any("quoted after" in str(notice) for notice in notices)


def test_without_any_dwell_the_reference_is_a_second():
    points = drawn(
        replace(RESTS, dwells=None, law="constant", theta=(0.13,)), np.random.default_rng(1)
    )
    assert static_reference(points, REFERENCE).dwell_s == 1.0


def test_a_static_fit_survives_json_to_the_last_bit():
    points, fit, _ = fitted(RESTS)
    kinetic, static = fits_from_dict(json.loads(json.dumps(fits_to_dict({}, {NEW: fit}))))
    back = static[NEW]
    assert kinetic == {}
    assert back.reference == fit.reference
    assert back.not_identified == fit.not_identified
    where = Conditions(0.0, points.temperature_c, points.pressure_mpa, points.dwell_s)
    for name in ("mu", "u_mu", "mean_low", "next_pack_high", "inside"):
        assert np.array_equal(
            getattr(back.predict(where), name), getattr(fit.predict(where), name)
        ), name


def test_laws_of_the_other_kind_are_refused():
    rng = np.random.default_rng(2)
    with pytest.raises(FitError, match="the dwell law is not for kinetic points"):
        fit_campaign(drawn(Truth(), rng), REFERENCE, laws=["dwell"])
    _, (notice,) = fit_static(drawn(RESTS, rng), REFERENCE, laws=["log-speed"])
    assert "the log-speed law is not for static points" in notice.what


def test_kinetic_fits_do_not_change_with_breakaways_beside_them():
    rng = np.random.default_rng(3)
    slipping, resting = drawn(Truth(), rng), drawn(RESTS, rng)
    alone = fit_campaign(slipping, REFERENCE)[NEW]
    beside = fit_campaign(concatenate([slipping, resting]), REFERENCE)[NEW]
    assert np.array_equal(alone.theta, beside.theta)
    assert alone.reference == REFERENCE
