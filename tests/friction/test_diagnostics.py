"""Diagnostics of a fit: what was planted is found with its size, and nothing where nothing is."""

import json
from dataclasses import replace

import numpy as np
import pytest
from diagnostics_rates import swept
from friction_points import REFERENCE, THETA, Truth, drawn, spoiled
from scipy import sparse

from rigdata.errors import Severity
from rigdata.friction.design import Block
from rigdata.friction.diagnostics import findings
from rigdata.friction.diagnostics.diagnose import pulls_in_words
from rigdata.friction.diagnostics.offered import of_residuals, offered
from rigdata.friction.diagnostics.trends import order_in_time
from rigdata.friction.fit import fit_group
from rigdata.friction.fits_file import fits_from_dict, fits_to_dict
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law
from rigdata.friction.mixed_model import profile
from rigdata.friction.results import Group
from rigdata.friction.static import fit_static

NEW = Group("rough", "new")


def fit_of(points, laws=("log-speed",)):
    return fit_group(points, NEW, REFERENCE, laws=laws)


def made(truth=None, seed=1, **planted):
    return swept(drawn(truth or Truth(), np.random.default_rng(seed)), **planted)


def warned(fit):
    return [str(n) for n in fit.notices if n.severity is Severity.WARNING]


@pytest.fixture(scope="module")
def clean():
    return [fit_of(made(seed=seed)) for seed in range(30)]


@pytest.fixture(scope="module")
def joint():
    points = made()
    return joint_fit([Block("rough", points, law("log-speed"), {})], REFERENCE), points


NAMES = (findings.HYSTERESIS, findings.DRIFT_PER_RUN, findings.DRIFT_PER_HOUR)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_found_where_nothing_is(clean, name):
    """1.5 of 30 intervals are expected to miss zero; 6 or more have a chance of 0.3 %."""
    found = [fit.diagnostics.finding(name) for fit in clean]
    assert not any(one.clear for one in found)
    assert sum(not one.low <= 0.0 <= one.high for one in found) < 6
    assert np.std([one.value / one.u for one in found]) > 0.6  # and they are not too wide


def test_clean_points_warn_of_nothing_and_stay_level(clean):
    assert not any("sweeps" in text or "run to run" in text for f in clean for text in warned(f))
    left = sum(not trend.level for fit in clean for trend in fit.diagnostics.trends)
    assert left < 14  # of 120


def test_a_hysteresis_is_found_with_its_size():
    fit = fit_of(made(hysteresis=0.03))
    found = fit.diagnostics.finding(findings.HYSTERESIS)
    assert found.clear
    assert found.low < 0.03 < found.high
    assert found.u < 0.005
    assert found.words.startswith("mu is 3.")
    assert "higher on rising than on falling sweeps" in found.words
    assert any("higher on rising than on falling sweeps" in text for text in warned(fit))


def test_a_hysteresis_below_one_percent_is_told_but_not_warned_of():
    fit = fit_of(made(Truth(point_sd=0.002), hysteresis=-0.006))
    found = fit.diagnostics.finding(findings.HYSTERESIS)
    assert found.clear
    assert found.low < -0.006 < found.high
    assert "lower on rising" in found.words
    assert not any("rising" in text for text in warned(fit))


def test_kinds_of_sweeps_are_told_apart():
    points = drawn(Truth(), np.random.default_rng(4))
    even = np.array([int(run.split("-")[-1]) % 2 == 0 for run in points.run.tolist()])
    kinds = np.where(even, "load-sweep", "speed-sweep")
    big, none = swept(points, hysteresis=0.05), swept(points)
    mixed = replace(none, mu=np.where(even, big.mu, none.mu), procedure=kinds)
    told = fit_of(mixed).diagnostics
    load = told.finding("hysteresis, load-sweep")
    speed = told.finding("hysteresis, speed-sweep")
    assert load.clear
    assert load.low < 0.05 < load.high
    assert speed.low < 0.0 < speed.high
    assert told.finding(findings.HYSTERESIS).value < load.value
    (text,) = (text for text in warned(fit_of(mixed)) if "rising" in text)
    assert "falling load-sweeps" in text


def test_runs_that_go_one_way_only_say_nothing_of_hysteresis():
    points = made(hysteresis=0.03)
    for direction in ("up", "-"):
        one_way = replace(points, direction=np.full(len(points), direction))
        assert fit_of(one_way).diagnostics.finding(findings.HYSTERESIS) is None


def test_a_drift_from_run_to_run_is_found_with_its_size():
    fit = fit_of(made(Truth(runs=(10, 12)), per_run=-0.002))
    found = fit.diagnostics.finding(findings.DRIFT_PER_RUN)
    assert found.clear
    assert found.low < -0.002 < found.high
    assert found.words.startswith("mu falls by 0.")
    assert any("from run to run of a pack" in text for text in warned(fit))


def test_a_drift_at_the_repeated_reference_is_found_with_its_size():
    truth = Truth(packs=5, runs=(10, 12), temperatures=(75.0, 80.0), pressures=(0.9, 1.1))
    fit = fit_of(made(truth, per_run=0.002))
    found = fit.diagnostics.finding(findings.DRIFT_AT_REFERENCE)
    assert found.clear
    assert found.low < 0.002 < found.high
    assert "repeated reference condition" in found.words
    (text,) = (text for text in warned(fit) if "run to run" in text)
    assert found.words in text


def test_a_drift_at_the_reference_is_not_that_of_other_conditions():
    """Only points away from the reference speed drift."""
    truth = Truth(runs=(10, 12), temperatures=(75.0, 80.0), pressures=(0.9, 1.1))
    still, moved = made(truth), made(truth, per_run=0.004)
    near = np.abs(np.log(still.slip_speed_m_s / 0.1)) <= np.log(1.5)
    told = fit_of(replace(moved, mu=np.where(near, still.mu, moved.mu))).diagnostics
    assert told.finding(findings.DRIFT_PER_RUN).low > 0.001
    reference = told.finding(findings.DRIFT_AT_REFERENCE)
    assert reference.low < 0.0 < reference.high


def test_a_drift_within_the_runs_is_no_hysteresis():
    fit = fit_of(made(Truth(point_sd=0.003), per_hour=0.3))
    found = fit.diagnostics.finding(findings.DRIFT_PER_HOUR)
    assert found.clear
    assert found.low < 0.3 < found.high
    assert "per hour within the runs of about" in found.words
    planted = fit_of(made(Truth(point_sd=0.003), hysteresis=0.03)).diagnostics
    assert not planted.finding(findings.DRIFT_PER_HOUR).clear


def test_points_without_an_order_in_time_have_no_drift_within_runs():
    fit = fit_of(drawn(Truth(), np.random.default_rng(1)))
    assert fit.diagnostics.finding(findings.DRIFT_PER_HOUR) is None


HOT = ((80.0, 1.0), (85.0, 1.2), (150.0, 1.0), (80.0, 1.1), (82.0, 0.8))
HEATED = Truth(packs=4, runs=(5, 5), points=(10, 10), settings=HOT)


def after_heat(points, factor):
    """The same points, off by a factor in all runs after the third of each pack."""
    later = np.array([name.rsplit("-", 1)[1] in "45" for name in points.run.tolist()])
    return spoiled(points, later, factor)


def test_what_heat_takes_for_good_is_told_apart_from_fade():
    points = after_heat(drawn(replace(HEATED, packs=8), np.random.default_rng(3)), 0.97)
    fit = fit_of(points)
    found = fit.diagnostics.finding(findings.AFTER_HEAT)
    assert found.clear
    assert found.low < -0.03 < found.high
    assert "that part did not come back" in found.words
    assert "that mu loses at 150 degC comes back on cooling" in found.words
    (text,) = (text for text in warned(fit) if "did not come back" in text)
    assert "leave the hottest runs for the end" in text


def test_fade_that_comes_back_is_no_loss():
    """15 groups with nothing lost: more than three misses of 95 % are rarer than 1 in 100."""
    missed = 0
    for seed in range(15):
        fit = fit_of(drawn(HEATED, np.random.default_rng(seed)))
        found = fit.diagnostics.finding(findings.AFTER_HEAT)
        assert not found.clear
        missed += not found.low < 0.0 < found.high
    assert missed <= 3


def test_without_runs_on_both_sides_of_the_heat_nothing_is_said_of_it():
    points = drawn(HEATED, np.random.default_rng(3))
    number = np.array([int(name.rsplit("-", 1)[1]) for name in points.run.tolist()])
    for kept in (number <= 3, number >= 3, number != 3):
        fit = fit_of(points.select(np.flatnonzero(kept)))
        assert fit.diagnostics.finding(findings.AFTER_HEAT) is None


def test_a_falling_coefficient_is_told_with_its_range():
    told = fit_of(made()).diagnostics
    slope = told.finding(findings.SPEED_SLOPE)
    assert slope.low < -0.04 < slope.high < 0.0
    assert "feeds chatter" in slope.words
    reference, cold, hot, *_ = told.speed_ranges
    assert (reference.temperature_c, reference.pressure_mpa) == (80.0, 1.0)
    assert cold.temperature_c < 80.0 < hot.temperature_c
    assert all(one.falls == (one.tested,) and not one.rises for one in told.speed_ranges)
    assert reference.words.endswith("mu falls from 0.01 to 1 m/s")


def test_fade_and_pressure_are_told_in_percent():
    told = fit_of(made()).diagnostics
    fade, pressure = told.finding(findings.FADE), told.finding(findings.PRESSURE)
    assert fade.low < np.expm1(-0.08) < fade.high
    assert "mu falls by" in fade.words
    assert "per 100 K" in fade.words
    assert pressure.low < 2.0**-0.06 - 1.0 < pressure.high
    assert "per doubling of pressure" in pressure.words


def test_the_spread_of_points_is_put_into_words():
    alike = made(Truth(pack_sd=0.0, run_sd=0.0), seed=8)
    told = fit_of(alike).diagnostics.finding(findings.SPREAD)
    assert told.low < 1.0 < told.high
    assert told.words.startswith("measurement alone explains")
    scattered = fit_of(made(seed=8)).diagnostics.finding(findings.SPREAD)
    assert scattered.low > 1.0
    assert scattered.words.startswith("measurement alone does not explain")
    overstated = replace(
        alike,
        u_random=2.0 * alike.u_random,
        contributions=sparse.csr_array(2.0 * alike.contributions),
    )
    told = fit_of(overstated).diagnostics.finding(findings.SPREAD)
    assert told.high < 1.0
    assert "uncertainties look overstated" in told.words


def test_what_a_law_misses_leaves_zero_where_it_misses_it():
    truth = Truth(law="stribeck", theta=THETA["stribeck"])
    trend = fit_of(made(truth)).diagnostics.trend("slip_speed_m_s")
    assert not trend.level
    assert "residuals leave zero over slip speed from 0.0" in trend.words
    right = fit_of(made(truth), laws=("stribeck",)).diagnostics.trend("slip_speed_m_s")
    assert right.level
    assert np.max(np.abs(right.value)) < 0.2 * np.max(np.abs(trend.value))


def test_a_step_in_time_leaves_zero_over_the_order_of_the_runs():
    points = made(Truth(runs=(9, 9)))
    stepped = replace(points, mu=points.mu * np.where(order_in_time(points) > 4.5, 1.03, 1.0))
    trend = fit_of(stepped).diagnostics.trend(findings.ORDER)
    assert not trend.level
    assert trend.value[-1] - trend.value[0] == pytest.approx(0.03, abs=0.01)
    assert trend.x[0] == pytest.approx(0.6)
    assert trend.x[-1] == pytest.approx(9.4)


def test_points_without_times_show_no_drift_within_runs():
    points = made(Truth(runs=(9, 9)))
    none = np.full(len(points), np.nan)
    told = fit_of(points).diagnostics
    untold = fit_of(replace(points, start_s=none, end_s=none)).diagnostics
    names = [{finding.name for finding in one.findings} for one in (told, untold)]
    assert names[0] - names[1] == {findings.DRIFT_PER_HOUR}
    assert untold.finding(findings.DRIFT_PER_RUN) == told.finding(findings.DRIFT_PER_RUN)
    assert untold.trend(findings.ORDER).x[[0, -1]] == pytest.approx([1.0, 9.0])


def test_a_point_without_its_time_counts_as_in_the_middle_of_its_run():
    points = made(Truth(runs=(9, 9)))
    middle = 0.5 * (points.start_s + points.end_s)
    own, one = points.run == points.run[3], np.arange(len(points)) == 3
    drifts = [
        fit_of(replace(points, start_s=time, end_s=time)).diagnostics.finding(
            findings.DRIFT_PER_HOUR
        )
        for time in (np.where(one, at, middle) for at in (np.nan, middle[own & ~one].mean()))
    ]
    assert drifts[0].value == pytest.approx(drifts[1].value, rel=1e-9)
    assert drifts[0].u == pytest.approx(drifts[1].u, rel=1e-9)


def test_pulls_over_two_are_named_largest_first():
    pulls = {"zero:R1": 2.4, "torque": -3.1, "radius": 0.3}
    expected = "2 of 3 sources are pulled by more than 2 standard deviations: torque (-3.1), zero"
    assert pulls_in_words(pulls).startswith(expected)
    assert pulls_in_words({"torque": 1.0}) == "none of 1 sources is pulled by more than 2"
    many = {f"zero:R{i}": 2.0 + i for i in range(1, 6)}
    assert pulls_in_words(many).endswith("and 2 more")


def test_a_column_offered_is_a_column_of_the_law(joint):
    """The same number as when the linearised law has it among its parameters."""
    fit, points = joint
    side = 0.5 * (points.direction == "up") - 0.5 * (points.direction == "down")
    columns = fit.curve[:, None] * np.stack([side, points.start_s / 100.0], axis=1)
    wider = replace(fit.model, design=np.column_stack([fit.model.design, columns]))
    at = profile(wider, fit.estimate.variances)
    found = offered(fit, columns)
    np.testing.assert_allclose(found.theta, at.step[-2:], rtol=1e-8)
    np.testing.assert_allclose(found.covariance, at.covariance[-2:, -2:], rtol=1e-8)
    more = fit.estimate.variances * [1.0, 1.0 + 1e-6, 1.0]
    moved = profile(wider, more).covariance[-2:, -2:] - found.covariance
    slope = moved / (more[1] - fit.estimate.variances[1])
    np.testing.assert_allclose(found.sensitivity[1], slope, rtol=1e-3)


def test_a_column_that_the_law_holds_is_not_offered(joint):
    fit, _ = joint
    assert offered(fit, fit.model.design[:, :1]) is None
    assert offered(fit, np.zeros((fit.curve.size, 1))) is None


def test_sums_of_residuals_have_the_covariance_that_chance_gives_them(joint):
    fit, _ = joint
    n = fit.curve.size
    weights = np.random.default_rng(0).normal(size=(n, 3))
    variances = fit.estimate.variances
    columns = fit.model.columns.dense(fit.model.scale(variances))
    full = np.diag(fit.model.variance(variances)) + columns @ columns.T
    design = fit.model.design
    rest = full - design @ np.linalg.solve(design.T @ np.linalg.solve(full, design), design.T)
    found = of_residuals(fit, weights)
    np.testing.assert_allclose(found.theta, weights.T @ fit.model.residual)
    np.testing.assert_allclose(found.covariance, weights.T @ rest @ weights, rtol=1e-6)


def test_diagnostics_survive_the_file():
    fit = fit_of(made(hysteresis=0.03))
    data = json.loads(json.dumps(fits_to_dict({NEW: fit})))
    again = fits_from_dict(data)[0][NEW].diagnostics
    assert again.findings == fit.diagnostics.findings
    assert again.speed_ranges == fit.diagnostics.speed_ranges
    assert again.pulls == fit.diagnostics.pulls
    for one, other in zip(again.trends, fit.diagnostics.trends, strict=True):
        assert (one.coordinate, one.words) == (other.coordinate, other.words)
        np.testing.assert_array_equal(one.low, other.low)
    del data["kinetic"][0]["diagnostics"]  # a file of an older version
    assert fits_from_dict(data)[0][NEW].diagnostics is None


@pytest.mark.parametrize(
    "few",
    [
        Truth(packs=1, runs=(1, 1), points=(5, 5)),
        Truth(packs=2, runs=(1, 1), points=(4, 4), temperatures=(80.0, 80.0)),
        Truth(packs=2, runs=(3, 3), points=(3, 3), speeds=(0.1, 0.1), pressures=(1.0, 1.0)),
    ],
)
def test_few_points_say_what_they_can(few):
    told = fit_of(made(few), laws=None).diagnostics
    assert all(np.isfinite([one.value, one.low, one.high]).all() for one in told.findings)
    assert all(np.isfinite(trend.value).all() for trend in told.trends)
    assert json.dumps(told.to_dict(), allow_nan=False)
    if few.packs == 1:  # a single run
        assert told.finding(findings.DRIFT_PER_RUN) is None


def test_static_fits_have_no_diagnostics():
    points = drawn(replace(Truth(), kind="static", law="constant", theta=(0.13,)),
                   np.random.default_rng(2))  # fmt: skip
    (fit,) = fit_static(points, REFERENCE)[0].values()
    assert fit.diagnostics is None
