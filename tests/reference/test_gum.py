"""Worked examples of the GUM (JCGM 100:2008), annexes G and H.

The data of H.2, H.3 and H.5 and most results were read in test files of public
packages that quote the document; results that were written from memory are
marked so, and each is confirmed by arithmetic to the digits printed.
"""

import numpy as np
import pytest
from scipy import stats

from rigdata.calibration.least_squares import fit_polynomial
from rigdata.uncertainty.covariance import LowRankCovariance
from rigdata.uncertainty.degrees import coverage_factor, welch_satterthwaite

# H.3, table H.6: thermometer readings and corrections. [degC]
READING = np.array(
    [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
)
CORRECTION = -1e-3 * np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160])


class TestThermometerCalibration:
    """H.3: calibration of a thermometer."""

    fit = fit_polynomial(READING - 20.0, CORRECTION, 1)

    def test_printed_digits(self) -> None:
        u = np.sqrt(np.diag(self.fit.covariance))
        assert [f"{self.fit.coefficients[0]:.4f}", f"{u[0]:.4f}"] == ["-0.1712", "0.0029"]
        assert [f"{self.fit.coefficients[1]:.5f}", f"{u[1]:.5f}"] == ["0.00218", "0.00067"]
        correlation = self.fit.covariance[0, 1] / np.prod(u)
        assert round(float(correlation), 3) == -0.930
        assert round(self.fit.s, 4) == 0.0035
        assert self.fit.dof == 9

    def test_all_digits(self) -> None:
        # Recomputed independently.
        u = np.sqrt(np.diag(self.fit.covariance))
        assert self.fit.coefficients == pytest.approx(
            [-0.17120379013135, 0.00218269773988728], rel=1e-9
        )
        assert u == pytest.approx([0.00287759783516, 0.000667938773227831], rel=1e-9)
        assert self.fit.covariance[0, 1] / np.prod(u) == pytest.approx(-0.930429603093446, rel=1e-9)
        assert self.fit.s == pytest.approx(0.00349756396350528, rel=1e-9)

    def test_prediction_keeps_the_covariance(self) -> None:
        assert self.fit.predict([10.0]) == pytest.approx([-0.149376812732477], rel=1e-9)
        assert self.fit.u_curve([10.0]) == pytest.approx([0.00413859575285494], rel=1e-9)
        # The trap: the two uncertainties alone give almost twice as much.
        u = np.sqrt(np.diag(self.fit.covariance))
        assert np.hypot(u[0], 10.0 * u[1]) == pytest.approx(0.00727288, rel=1e-6)

    def test_reference_temperature_does_not_matter(self) -> None:
        other = fit_polynomial(READING, CORRECTION, 1)
        at = np.array([15.0, 24.0, 30.0])
        assert other.predict(at) == pytest.approx(self.fit.predict(at - 20.0), rel=1e-12)
        assert other.u_curve(at) == pytest.approx(self.fit.u_curve(at - 20.0), rel=1e-12)

    def test_level_and_slope_are_apart_at_the_mean_reading(self) -> None:
        about_mean = fit_polynomial(READING - READING.mean(), CORRECTION, 1)
        assert about_mean.coefficients[0] == pytest.approx(-0.162454545, abs=1e-9)
        assert np.sqrt(about_mean.covariance[0, 0]) == pytest.approx(0.00105455521, rel=1e-8)
        assert about_mean.covariance[0, 1] == pytest.approx(0.0, abs=1e-18)


class TestResistanceAndReactance:
    """H.2: three quantities from the same five sets of readings."""

    V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    I = 1e-3 * np.array([19.663, 19.639, 19.640, 19.685, 19.678])  # noqa: E741
    PHI = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])

    def impedance(self) -> tuple[np.ndarray, LowRankCovariance]:
        readings = np.stack([self.V, self.I, self.PHI])
        v, i, phi = mean = readings.mean(axis=1)
        z = v / i
        result = np.array([z * np.cos(phi), z * np.sin(phi), z])
        by = np.array(
            [
                [result[0] / v, -result[0] / i, -result[1]],
                [result[1] / v, -result[1] / i, result[0]],
                [z / v, -z / i, 0.0],
            ]
        )
        # Each set of readings is one source that moves all three inputs together.
        sources = by @ ((readings - mean[:, None]) / np.sqrt(5 * 4))
        return result, LowRankCovariance(np.full(3, 1e-20), sources)

    def test_estimates(self) -> None:
        result, _ = self.impedance()
        assert np.round(result, 3) == pytest.approx([127.732, 219.847, 254.260])
        assert result == pytest.approx([127.732169928, 219.846511913, 254.259701948], rel=1e-11)

    def test_uncertainties_and_correlations(self) -> None:
        _, covariance = self.impedance()
        u = np.sqrt(covariance.variance)
        assert u == pytest.approx([0.071, 0.295, 0.236], abs=1e-3)  # printed
        # All digits recomputed with GTC 1.5.1.
        assert u == pytest.approx([0.0710714073970, 0.2955816773586, 0.2363361300824], rel=1e-10)
        r = covariance.dot(np.eye(3)) / np.outer(u, u)
        assert np.round([r[0, 1], r[0, 2], r[1, 2]], 3) == pytest.approx([-0.588, -0.485, 0.993])


class TestEndGauge:
    """H.1: degrees of freedom of a budget."""

    LENGTH = 50_000_623.0  # of the standard [nm]

    def test_effective_degrees_of_freedom(self) -> None:
        # Standard, three parts of the comparison, difference of temperature, and
        # difference of the expansion coefficients at -0.1 degC. [nm]
        contributions = [
            *(25.0, 5.8, 3.9, 6.7),
            self.LENGTH * 11.5e-6 * 0.05 / np.sqrt(3.0),
            self.LENGTH * 0.1 * 1e-6 / np.sqrt(3.0),
        ]
        combined = np.sqrt(np.sum(np.square(contributions)))
        assert combined == pytest.approx(31.66387911, rel=1e-8)
        assert round(float(combined)) == 32  # printed
        nu = welch_satterthwaite(contributions, [18.0, 24.0, 5.0, 8.0, 2.0, 50.0])
        assert nu == pytest.approx(16.75185574, rel=1e-8)
        # t_99 from memory of the document.
        assert np.round(coverage_factor(nu, 0.99, truncate=True), 2) == 2.92
        assert coverage_factor(nu, 0.99) < 2.92078


def test_g41_effective_degrees_of_freedom() -> None:
    # G.4.1; inputs and results from memory of the document.
    parts = [0.25, 0.57, 0.82]
    nu = welch_satterthwaite(parts, [9.0, 4.0, 14.0])
    assert nu == pytest.approx(18.99874231, rel=1e-8)
    assert np.sqrt(np.sum(np.square(parts))) == pytest.approx(1.02946588, rel=1e-8)
    assert coverage_factor(19.0) == pytest.approx(2.0930241, rel=1e-7)
    # The printed 19 is not the truncated 18: no truncation unless asked for.
    assert np.round(coverage_factor(nu), 2) == 2.09
    assert coverage_factor(nu, truncate=True) == pytest.approx(coverage_factor(18.0))


def test_table_g2() -> None:
    # Table G.2, Student's t.
    nu = [1, 2, 5, 10, 20, 50]
    assert np.round(coverage_factor(nu), 2) == pytest.approx([12.71, 4.30, 2.57, 2.23, 2.09, 2.01])
    assert np.round(coverage_factor(nu, 0.9545), 2) == pytest.approx(
        [13.97, 4.53, 2.65, 2.28, 2.13, 2.05]
    )


def test_h5_days_do_not_vanish_from_the_mean() -> None:
    # H.5: ten daily means of five readings each of a voltage standard. [V, uV]
    means = 10.0 + 1e-6 * np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41])
    within = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86])
    days, readings = 10, 5
    fit = fit_polynomial(np.zeros(days), means, 0)  # a mean is a polynomial of degree 0
    assert fit.coefficients[0] == pytest.approx(10.0000971, abs=1e-9)
    assert 1e6 * fit.s == pytest.approx(57.08950, rel=1e-6)
    between, inside = readings * (1e6 * fit.s) ** 2, np.mean(within**2.0)
    assert np.sqrt(between) == pytest.approx(127.656, rel=1e-5)
    assert np.sqrt(inside) == pytest.approx(84.88698, rel=1e-6)
    assert between / inside == pytest.approx(2.25, abs=0.02)  # printed, from rounded values
    # Critical values from memory of the document.
    assert np.round(stats.f.ppf([0.95, 0.975], 9, 40), 2) == pytest.approx([2.12, 2.45])
    assert np.sqrt((between - inside) / readings) == pytest.approx(42.6386, rel=1e-5)
    # Days are one shared source each: the mean of all is known to 18 uV, not 13.
    day = np.sqrt((between - inside) / readings)
    shared = np.repeat(day * np.eye(days), readings, axis=0)
    covariance = LowRankCovariance(np.full(days * readings, inside), shared)
    weight = np.full(days * readings, 1.0 / (days * readings))
    assert np.sqrt(weight @ covariance.dot(weight)) == pytest.approx(18.0533, rel=1e-5)
    everything = np.sqrt((9 * between + 40 * inside) / 49 / 50)
    assert everything == pytest.approx(13.3232, rel=1e-5)
