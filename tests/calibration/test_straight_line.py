import datetime
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.least_squares import fit_polynomial
from rigdata.calibration.polynomial import calibrate
from rigdata.calibration.straight_line import fit_uncertain_applied
from rigdata.campaign.records import CalibrationRecord
from rigdata.errors import CalibrationError
from rigdata.uncertainty.errors_in_both import fit_line

X = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 1.5, 1.0, 0.5, 0.0])
NOISE = 1e-3 * np.array([1.0, -2.0, 0.5, 1.0, -1.0, 2.0, -0.5, 1.0, -2.0])
Y = 200.0 * (X + NOISE)


def test_equal_and_ample_uncertainties_give_least_squares_and_their_own_spread():
    fit = fit_uncertain_applied(X, Y, np.full(9, 5.0))
    plain = fit_polynomial(X, Y, 1)
    assert fit.coefficients == pytest.approx(plain.coefficients, rel=1e-12)
    assert fit.s == pytest.approx(plain.s, rel=1e-12)
    expected = plain.covariance * (5.0 / plain.s) ** 2
    assert fit.covariance == pytest.approx(expected, rel=1e-9)


def test_scatter_beyond_the_applied_uncertainty_goes_to_the_indicated_values():
    fit = fit_uncertain_applied(X, Y, np.full(9, 0.1))
    plain = fit_polynomial(X, Y, 1)
    # All points alike: the line must be as uncertain as its scatter says.
    assert np.diag(fit.covariance) == pytest.approx(np.diag(plain.covariance), rel=2e-3)


def test_uneven_uncertainties_weigh_the_points():
    u = np.where(X > 1.2, 40.0, 4.0)
    fit, line = fit_uncertain_applied(X, Y, u), fit_line(X, Y, 0.0, u)
    assert fit.coefficients == pytest.approx([line.intercept, line.slope], rel=1e-12)
    assert fit.coefficients != pytest.approx(fit_polynomial(X, Y, 1).coefficients, rel=1e-6)


def test_the_uncorrelated_polynomials_carry_the_covariance():
    fit = fit_uncertain_applied(X, Y, np.where(X > 1.2, 2.0, 0.3))
    at = np.array([-0.2, 0.7, 2.5])
    assert fit.predict(at) == pytest.approx(fit.coefficients[0] + fit.coefficients[1] * at)
    powers = np.vander(at, 2, increasing=True)
    expected = np.sqrt(np.einsum("ni,ij,nj->n", powers, fit.covariance, powers))
    assert fit.u_curve(at) == pytest.approx(expected, rel=1e-9)


def test_points_without_scatter_keep_the_uncertainty_of_the_applied_values():
    fit = fit_uncertain_applied(X, 200.0 * X, np.full(9, 1.0))
    assert fit.coefficients == pytest.approx([0.0, 200.0], abs=1e-9)
    assert fit.u_curve([X.mean()]) == pytest.approx(1.0 / 3.0, rel=1e-9)
    assert fit.s < 1e-6


def test_its_stated_spread_is_that_of_many_calibrations():
    rng = np.random.default_rng(11)
    u = np.where(X > 1.2, 1.0, 0.2)
    slopes, stated = [], []
    for _ in range(400):
        fit = fit_uncertain_applied(X + rng.normal(0, 1e-3, 9), 200 * X + rng.normal(0, u), u)
        slopes.append(fit.coefficients[1])
        stated.append(fit.covariance[1, 1])
    assert np.mean(slopes) == pytest.approx(200.0, abs=0.06)
    assert np.sqrt(np.mean(stated)) == pytest.approx(np.std(slopes), rel=0.12)


def test_points_that_give_no_line():
    with pytest.raises(CalibrationError, match="same x"):
        fit_uncertain_applied(np.ones(9), Y, np.full(9, 1.0))


def record(**values) -> CalibrationRecord:
    base = {
        "path": Path("r.toml"),
        "sha256": "",
        "id": "R-1",
        "sensor": "cell",
        "quantity": "torque",
        "applied_unit": "kN*m",
        "indicated_unit": "V",
        "date": datetime.date(2025, 1, 1),
        "valid_until": datetime.date(2026, 1, 1),
        "reference_expanded_u_percent": 0.1,
        "coverage_factor": 2.0,
        "temperature_c": 23.0,
        "degree": 1,
        "series": np.full(9, "1"),
        "direction": ["up"] * 5 + ["down"] * 4,
        "applied": Y / 1e3,
        "indicated": X,
    }
    return CalibrationRecord(**(base | values))


def test_a_record_with_its_own_uncertainties_is_fitted_so():
    u = np.where(X > 1.2, 0.04, 0.004)
    curve = calibrate(record(u_applied=u))
    assert curve.fit.coefficients == pytest.approx(
        fit_uncertain_applied(X, Y, 1e3 * u).coefficients, rel=1e-12
    )
    rows = curve.sensitivities([1.0])
    assert np.sqrt(np.sum(rows[:2] ** 2)) == pytest.approx(curve.fit.u_curve([1.0])[0])
    assert [s.id for s in curve.sources("R")] == [
        "torque:R-1:level",
        "torque:R-1:slope",
        "torque:R-1:reference",
        "torque:R-1:residual:R",
    ]


def test_a_curve_of_higher_degree_is_fitted_as_before():
    u = np.where(X > 1.2, 0.04, 0.004)
    with_u, without = calibrate(record(u_applied=u, degree=2)), calibrate(record(degree=2))
    assert with_u.fit.coefficients.tolist() == without.fit.coefficients.tolist()


class TestReference:
    def test_one_share_of_every_value(self):
        curve = calibrate(record())
        rows = curve.sensitivities([-0.4, 0.0, 1.0, 4.0])
        assert rows[-2] == pytest.approx(0.0005 * curve.applied([-0.4, 0.0, 1.0, 4.0]))

    def test_point_by_point_as_a_certificate_states_it(self):
        u = np.interp(X, [0.0, 0.5, 2.0], [0.5, 0.2, 0.4]) / 1e3
        curve = calibrate(record(reference_u=u))
        rows = curve.sensitivities([0.5, 1.25, 2.0, 4.0])
        assert rows[-2] == pytest.approx([0.2, 0.3, 0.4, 0.8], rel=2e-3)

    def test_it_falls_to_nothing_at_no_load_so_that_a_zero_does_not_cancel_it(self):
        curve = calibrate(record(reference_u=np.full(9, 0.3e-3)))
        rows = curve.sensitivities([0.0, 0.25, 0.5, -0.5])
        assert rows[-2] == pytest.approx([0.0, 0.15, 0.3, -0.3], abs=2e-3)

    def test_a_temperature_keeps_it_at_nought_degrees(self):
        warm = record(quantity="temperature", applied_unit="degC", reference_u=np.full(9, 0.06))
        rows = calibrate(warm).sensitivities([0.25e-2, 0.5])
        assert np.abs(rows[-2]) == pytest.approx([0.06, 0.06])


def test_points_without_scatter_have_none():
    """What stands in for it is nothing beside the uncertainty of the line."""
    fit = fit_uncertain_applied(X, 200.0 * X, np.full(9, 0.1))
    assert fit.s < 1e-8 * np.sqrt(fit.covariance[0, 0])
