"""Every law: derivatives, bounds, start values."""

from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.campaign.campaign import Oil
from rigdata.errors import FitError
from rigdata.friction.conditions import Conditions, at, shown_axes
from rigdata.friction.laws.registry import STATIC_LAWS, law, laws_for

REFERENCE = SimpleNamespace(slip_speed_m_s=0.1, temperature_c=80.0, pressure_mpa=1.0)
THETA = {
    "constant": np.array([0.12]),
    "log-speed": np.array([0.12, -0.004, -0.0008, -0.06]),
    "stribeck": np.array([0.10, 0.14, 0.05, 1.3, 0.005, -0.0008, -0.06]),
    "quadratic": np.array([0.12, -0.04, -0.05, -0.06, 0.012, 0.03, 0.05, 0.02, -0.03, 0.04]),
    "hersey": np.array([0.10, 0.14, 0.5, 1.3, 0.002, -0.06]),
    "static": np.array([0.13, -0.0008, -0.06]),
    "dwell": np.array([0.13, 0.0012, 1.7, -0.0008, -0.06]),
}
OIL = Oil("gear oil", 73.3, 8.86, 870.0)
ALL = {**laws_for(OIL), **STATIC_LAWS}


def conditions(seed: int = 3, n: int = 40) -> Conditions:
    rng = np.random.default_rng(seed)
    return Conditions(
        np.geomspace(0.004, 1.5, n),
        rng.uniform(30.0, 140.0, n),
        rng.uniform(0.3, 3.0, n),
        np.exp(rng.uniform(0.0, 5.0, n)),
    )


@pytest.mark.parametrize("name", ALL)
def test_jacobian_agrees_with_central_differences(name):
    where, theta = conditions(), THETA[name]
    analytic = ALL[name].jacobian(where, theta, REFERENCE)
    assert analytic.shape == (40, len(ALL[name].parameters))
    for i, value in enumerate(theta):
        step = np.zeros_like(theta)
        step[i] = 1e-5 * abs(value)
        above = ALL[name].mu(where, theta + step, REFERENCE)
        below = ALL[name].mu(where, theta - step, REFERENCE)
        numeric = (above - below) / (2 * step[i])
        scale = np.abs(numeric).max()
        assert analytic[:, i] == pytest.approx(numeric, rel=1e-7, abs=1e-8 * scale)


@pytest.mark.parametrize("name", ALL)
def test_a_formula_takes_parameters_of_its_own_at_each_condition(name):
    where, law = conditions(), ALL[name]
    each = THETA[name][:, None] * np.random.default_rng(1).uniform(0.9, 1.1, (1, len(where)))
    mu, slopes = law.mu(where, each, REFERENCE), law.jacobian(where, each, REFERENCE)
    for i in range(len(where)):
        alone = where.select(np.array([i]))
        assert mu[i] == pytest.approx(law.mu(alone, each[:, i], REFERENCE)[0], rel=1e-12)
        assert slopes[i] == pytest.approx(law.jacobian(alone, each[:, i], REFERENCE)[0], rel=1e-12)


@pytest.mark.parametrize("name", ALL)
def test_starts_are_inside_the_bounds_and_fit_clean_data_roughly(name):
    where = conditions()
    mu = ALL[name].mu(where, THETA[name], REFERENCE)
    for start in ALL[name].starts(where, mu, REFERENCE):
        for value, parameter in zip(start, ALL[name].parameters, strict=True):
            assert parameter.low < value < parameter.high, parameter.name
    best = ALL[name].mu(where, ALL[name].starts(where, mu, REFERENCE)[0], REFERENCE)
    assert np.abs(best / mu - 1).max() < 0.25


@pytest.mark.parametrize("name", ALL)
def test_extreme_parameters_stay_finite(name):
    where = conditions()
    for scale in (1e-6, 1.0, 1e6):
        theta = THETA[name] * scale
        with np.errstate(over="raise", invalid="raise", divide="raise"):
            assert np.all(np.isfinite(ALL[name].mu(where, theta, REFERENCE)))
            assert np.all(np.isfinite(ALL[name].jacobian(where, theta, REFERENCE)))


def test_stribeck_values_at_given_speeds():
    """Hand values: mu_k .10, mu_s .14, v_s .05, d 1, k .005."""
    theta = np.array([0.10, 0.14, 0.05, 1.0, 0.005, 0.0, 0.0])
    speeds = [0.01, 0.05, 0.1, 0.5, 1.0]
    expected = [0.13279923, 0.11496518, 0.10591341, 0.10250182, 0.105]
    assert law("stribeck").mu(Conditions(speeds, 80.0, 1.0), theta, REFERENCE) == pytest.approx(
        expected, abs=5e-9
    )


def test_every_law_gives_its_level_at_the_reference():
    reference = Conditions(0.1, 80.0, 1.0)
    for name in ("log-speed", "quadratic"):
        assert ALL[name].mu(reference, THETA[name], REFERENCE) == pytest.approx(0.12)


def test_quadratic_value_by_hand():
    """x = ln 2, y = 0.6, z = -ln 4, each term written out."""
    x, y, z = np.log(2.0), 0.6, -np.log(4.0)
    exponent = -0.04 * x - 0.05 * y - 0.06 * z + 0.012 * x * x + 0.03 * y * y + 0.05 * z * z
    exponent += 0.02 * x * y - 0.03 * x * z + 0.04 * y * z
    value = law("quadratic").mu(Conditions(0.2, 110.0, 0.25), THETA["quadratic"], REFERENCE)
    assert value == pytest.approx(0.12 * np.exp(exponent), rel=1e-14)


def test_quadratic_start_is_exact_for_clean_data():
    where = conditions()
    mu = law("quadratic").mu(where, THETA["quadratic"], REFERENCE)
    (start,) = law("quadratic").starts(where, mu, REFERENCE)
    assert start == pytest.approx(THETA["quadratic"], rel=1e-9)


def test_hersey_values_by_hand():
    """At 40 and 100 degC the viscosities are those of the data sheet: h = 73.3 / 8.86 x 2."""
    at_100 = SimpleNamespace(slip_speed_m_s=0.1, temperature_c=100.0, pressure_mpa=1.0)
    where, theta = Conditions(0.4, 40.0, 2.0), np.array([0.1, 0.14, 5.0, 1.0, 2e-4, -0.06])
    h = 73.3 / 8.86 * 0.4 / 0.1 / 2.0
    expected = (0.1 + 0.04 * np.exp(-h / 5.0) + 2e-4 * h) * 2.0**-0.06
    mu = law("hersey", OIL).mu(where, theta, at_100)
    assert mu == pytest.approx(expected, rel=2e-5)  # D341 closes to this


def test_hersey_is_stribeck_where_only_the_speed_varies():
    where = Conditions(np.geomspace(0.01, 1.0, 9), 80.0, 1.0)
    theta = np.array([0.10, 0.14, 0.5, 1.3, 0.002, -0.06])
    same = np.array([0.10, 0.14, 0.05, 1.3, 0.02, 0.0, -0.06])
    by_speed = law("stribeck").mu(where, same, REFERENCE)
    assert law("hersey", OIL).mu(where, theta, REFERENCE) == pytest.approx(by_speed, rel=1e-12)


def test_hersey_is_a_candidate_only_where_there_is_an_oil():
    assert "hersey" not in laws_for(None)
    with pytest.raises(FitError, match="needs the viscosity of the oil"):
        law("hersey")


def test_dwell_values_and_derivatives_by_hand():
    """30 K above, twice the pressure, after e^2 - 1 times t0: 0.13 + 2 a."""
    theta = np.array([0.13, 0.0012, 1.7, -0.0008, -0.06])
    dwell = 1.7 * (np.exp(2.0) - 1.0)
    where = Conditions(0.0, 110.0, 2.0, dwell)
    factor = np.exp(-0.0008 * 30.0) * 2.0**-0.06
    level = 0.13 + 2.0 * 0.0012
    value = law("dwell").mu(where, theta, REFERENCE)
    assert value == pytest.approx(level * factor, rel=1e-14)
    by_t0 = -0.0012 / 1.7 * (1.0 - np.exp(-2.0))  # -a t / (t0 (t0 + t))
    expected = factor * np.array([1.0, 2.0, by_t0, 30.0 * level, np.log(2.0) * level])
    assert law("dwell").jacobian(where, theta, REFERENCE)[0] == pytest.approx(expected, rel=1e-13)


def test_static_laws_never_take_the_logarithm_of_a_slip_speed_of_nought():
    where = Conditions(np.zeros(6), 80.0, 1.0, np.geomspace(1.0, 100.0, 6))
    with np.errstate(all="raise"):
        for name, found in STATIC_LAWS.items():
            mu = found.mu(where, THETA[name], REFERENCE)
            assert np.all(np.isfinite(found.jacobian(where, THETA[name], REFERENCE)))
            assert np.all(np.isfinite(found.starts(where, mu, REFERENCE)))
    assert shown_axes(where) == {"dwell_s"}


def test_dwell_law_without_rise_is_the_static_law_and_at_no_dwell_its_level():
    where = conditions()
    level = np.array([0.13, 0.0, 1.7, -0.0008, -0.06])
    flat = law("static").mu(where, THETA["static"], REFERENCE)
    assert law("dwell").mu(where, level, REFERENCE) == pytest.approx(flat, rel=1e-15)
    at_once = Conditions(0.0, 80.0, 1.0, 0.0)
    assert law("dwell").mu(at_once, THETA["dwell"], REFERENCE) == pytest.approx(0.13)


def layout(speeds, temperatures, pressures):
    """Every combination of the values given."""
    return Conditions(*(a.ravel() for a in np.meshgrid(speeds, temperatures, pressures)))


@pytest.mark.parametrize(
    ("where", "lost"),
    [
        (layout([0.01, 0.1, 1.0], [40.0, 80.0, 120.0], [0.5, 1.0, 2.0]), ""),
        (layout([0.01, 0.1, 1.0], [60.0, 61.0, 99.0, 100.0], [0.5, 1.0, 2.0]), "c22"),
        (layout([0.01, 1.0], [60.0, 100.0], [0.5, 2.0]), "c11 c22 c33"),
        (layout([0.01, 1.0], [80.0], [0.5, 2.0]), "c11 c33"),
        (Conditions(np.geomspace(0.01, 1, 9), np.linspace(60, 100, 9), 1.0), "c22 c12"),
    ],
)
def test_terms_that_the_layout_does_not_determine(where, lost):
    assert law("quadratic").undetermined(where) == set(lost.split())


def test_what_the_layout_determines_does_not_depend_on_units_of_the_condition():
    where = layout([0.01, 1.0], [60.0, 100.0], [0.5, 1.0, 2.0])
    moved = Conditions(where.slip_speed_m_s * 1e3, where.temperature_c + 300, where.pressure_mpa)
    assert law("quadratic").undetermined(moved) == law("quadratic").undetermined(where)


def test_an_axis_that_hardly_varies_is_not_shown():
    assert shown_axes(Conditions([0.1, 0.19], [80, 89.9], [1.0, 1.29])) == frozenset()
    assert shown_axes(Conditions([0.1, 0.2], [80, 90], [1.0, 1.3])) == {
        "slip_speed_m_s",
        "temperature_c",
        "pressure_mpa",
    }


def test_a_dwell_is_shown_from_a_factor_of_three_where_all_are_known():
    def shown(*dwell):
        return shown_axes(Conditions(0.0, 80.0, 1.0, dwell))

    assert shown(1.0, 2.0, 2.99) == frozenset()
    assert shown(1.0, 2.0, 3.0) == {"dwell_s"}
    assert shown(1.0, np.nan, 3.0) == frozenset()
    assert shown(np.nan) == frozenset()


def test_unknown_law_names_the_known_ones():
    with pytest.raises(FitError, match="constant, log-speed, stribeck, quadratic"):
        law("hyperbolic")


def test_conditions_broadcast_and_are_read_only():
    where = Conditions([0.1, 0.2], 80.0, 1.0)
    assert where.temperature_c.tolist() == [80.0, 80.0]
    with pytest.raises(ValueError, match="read-only"):
        where.temperature_c[0] = 0.0


def test_conditions_keep_their_dwell():
    where = Conditions(0.0, 80.0, 1.0, [1.0, np.nan, 9.0])
    assert where.select(np.array([0, 2])).dwell_s.tolist() == [1.0, 9.0]
    assert where.after(4.0).dwell_s.tolist() == [1.0, 4.0, 9.0]
    assert np.isnan(where.after(None).dwell_s[1])
    reference = SimpleNamespace(
        slip_speed_m_s=0.0, temperature_c=80.0, pressure_mpa=1.0, dwell_s=2.0
    )
    assert at(reference).dwell_s.tolist() == [2.0]
