"""The settling fit against published and independent least squares.

Data: carbon dioxide uptake of the plant Qn1 against ambient concentration, C. Potvin,
M. J. Lechowicz and S. Tardif, Ecology 71 (1990) 1389, as in the data set `CO2` of R.
The help of R's `SSasympOff` fits ``Asym (1 - exp(-exp(lrc) (x - c0)))`` to them, which is
a level and a change that dies away: Asym 38.1398, lrc -4.3806, c0 51.2232 with standard
errors 0.9164, 0.2042, 11.6698 (from memory of its output; SciPy, run here, agrees).
"""

import numpy as np
import pytest
from scipy import optimize, stats

from rigdata.bedding.noise import Layout, Noise
from rigdata.bedding.settling import Course, settle

CONCENTRATION = np.array([95.0, 175.0, 250.0, 350.0, 500.0, 675.0, 1000.0])
UPTAKE = np.array([16.0, 30.4, 34.8, 37.2, 35.3, 39.2, 39.7])
ASYM, LRC, C0 = 38.1398, -4.3806, 51.2232
U_ASYM, U_LRC, U_C0 = 0.9164, 0.2042, 11.6698


def whitened_course(work, value, whitened, dof):
    """A course beside its level alone, errors made independent by `whitened`."""
    one = whitened(np.ones((work.size, 1)))[:, 0]
    unit = one / np.linalg.norm(one)

    def freed(columns):
        white = whitened(columns)
        return white - np.outer(unit, unit @ white)

    y = freed(value[:, None])[:, 0]

    def against(columns):
        x = freed(columns)
        return y @ x, np.sum(x**2, axis=0)

    return Course(work=work, squares=float(y @ y), against=against, dof=lambda _: dof)


def settled(work, w1, m, a, w0):
    return m + a * np.exp(-(work - w1) / w0)


def test_asymptotic_regression_of_uptake():
    found, covariance = optimize.curve_fit(
        lambda x, asym, lrc, c0: asym * (1.0 - np.exp(-np.exp(lrc) * (x - c0))),
        CONCENTRATION,
        UPTAKE,
        (38.0, -4.4, 50.0),
    )
    assert found == pytest.approx((ASYM, LRC, C0), rel=2e-5)
    assert np.sqrt(np.diag(covariance)) == pytest.approx((U_ASYM, U_LRC, U_C0), rel=1e-3)
    rest = UPTAKE - ASYM * (1.0 - np.exp(-np.exp(LRC) * (CONCENTRATION - C0)))
    s = float(np.sqrt(rest @ rest / 4.0))
    fit = settle(whitened_course(CONCENTRATION, UPTAKE, lambda columns: columns / s, 4.0))
    assert fit.squares == pytest.approx(4.0, rel=1e-4)
    assert fit.scale == pytest.approx(np.exp(-LRC), rel=0.005)
    assert fit.change == pytest.approx(-ASYM * np.exp(-np.exp(LRC) * (95.0 - C0)), rel=0.005)

    # From where the uptake is within 1 of its level, and that for which a general
    # minimiser, held to it, passes the same F test.
    at, (low, high) = fit.steady_at(1.0), fit.steady_interval(1.0)
    assert at == pytest.approx(C0 + np.exp(-LRC) * np.log(ASYM), rel=0.005)

    def held(corner):
        def squares(log_scale):
            w0 = np.exp(log_scale)
            a = -np.exp((corner - 95.0) / w0)
            rest = UPTAKE - settled(CONCENTRATION, 95.0, 0.0, a, w0)
            return float(np.sum((rest - rest.mean()) ** 2)) / s**2

        ends = (np.log(30.0), np.log(400.0))
        return optimize.minimize_scalar(squares, bounds=ends, method="bounded").fun

    allowed = 4.0 + stats.f.ppf(0.95, 1, 4.0)
    for end in (low, high):
        assert held(end) == pytest.approx(allowed, abs=0.03)


def test_correlated_errors_against_generalised_least_squares():
    rng = np.random.default_rng(11)
    run = np.repeat([0, 1, 2, 3], 15)
    work = np.sort(rng.uniform(2.0, 150.0, run.size))
    noise = Noise(point=3e-3, alike=0.5, run=4e-3, point_dof=50.0, run_dof=3.0)
    known = np.full(run.size, 1e-3)
    size = np.hypot(noise.point, known)
    apart = np.abs(np.arange(run.size)[:, None] - np.arange(run.size))
    covariance = (run[:, None] == run) * (np.outer(size, size) * 0.5**apart + noise.run**2)
    value = settled(work, work[0], 1.0, -0.08, 30.0)
    value = value + np.linalg.cholesky(covariance) @ rng.normal(size=run.size)
    theta, _ = optimize.curve_fit(
        lambda w, m, a, w0: settled(w, work[0], m, a, w0),
        work,
        value,
        (1.0, -0.1, 20.0),
        sigma=covariance,
        absolute_sigma=True,
    )
    layout = Layout(run, known)
    course = whitened_course(work, value, lambda columns: noise.whitened(columns, layout), 50.0)
    fit = settle(course)
    assert fit.change == pytest.approx(theta[1], rel=2e-3)
    assert fit.scale == pytest.approx(theta[2], rel=5e-3)
