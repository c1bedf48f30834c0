"""Profile intervals against published ones, a closed form, and refits by other programs.

Sources: the Puromycin reaction rates of D. M. Bates and D. G. Watts, Nonlinear Regression
Analysis and Its Applications (1988), appendix A1.3, with the limits that R (stats 4.6.0)
prints for ``confint(nls(rate ~ SSmicmen(conc, Vm, K)))`` on its data set `Puromycin`;
E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175, for the ratio of two means; data of the
NIST Statistical Reference Datasets (files in data/nist_nonlinear) with intervals by
lmfit's `conf_interval` and by SciPy.
"""

from dataclasses import replace

import lmfit
import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn
from nist_nonlinear import MODELS, read
from scipy import optimize, stats

from rigdata.friction.design import Block
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws import static
from rigdata.friction.laws.base import Law, LawParameter
from rigdata.friction.profiles import profiles_of

Z = stats.norm.ppf(0.975)
TREATED = (
    [0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.10, 1.10],
    [76, 47, 97, 107, 123, 139, 159, 152, 191, 201, 207, 200],
    {"Vm": (197.30212847588, 229.29006489262), "K": (0.04692516839, 0.08615995299)},
)
UNTREATED = (
    [0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.10],
    [67, 51, 84, 86, 98, 115, 131, 124, 144, 158, 160],
    {"Vm": (145.63695396382, 176.54440120384), "K": (0.03137459811, 0.07006130623)},
)


def points_of(n):
    """Points of one run of one pack that share no error, to be filled in."""
    bare = Truth(layout=((n,),), gain_u=0.0, radius_u=0.0, zero_u=0.0)
    return drawn(bare, np.random.default_rng(0))


def fit_of(curve, x, y, u, start, low=()):
    """Fit a curve over x, carried by the pressure, to values of known uncertainty."""

    def mu(conditions, theta, _):
        return curve(conditions.pressure_mpa, theta)

    def jacobian(conditions, theta, _):
        steps = 1e-30j * np.eye(theta.size)
        columns = [curve(conditions.pressure_mpa, theta + step).imag / 1e-30 for step in steps]
        return np.stack(columns, axis=1)

    lows = [*low, *[-np.inf] * (len(start) - len(low))]
    law = Law(
        name="curve",
        formula="",
        parameters=tuple(LawParameter(f"b{i}", "1", "", low=own) for i, own in enumerate(lows)),
        mu=mu,
        jacobian=jacobian,
        starts=lambda *_: [np.array(start, dtype=float)],
    )
    points = replace(
        points_of(len(x)), mu=np.array(y, dtype=float), pressure_mpa=np.array(x), u_random=u
    )
    return joint_fit([Block("curve", points, law, {})], REFERENCE)


def michaelis(x, b):
    return b[0] * x / (b[1] + x)


@pytest.mark.parametrize(("x", "y", "expected"), [TREATED, UNTREATED], ids=["treated", "untreated"])
@pytest.mark.parametrize("low", [(), (0.0, 1e-6)], ids=["plain", "K as a scale"])
def test_puromycin_limits_are_those_of_r(x, y, expected, low):
    """R takes t of n - 2 on the spread of the points; here the normal, so u carries the ratio."""
    x, y = np.array(x), np.array(y, dtype=float)
    end = optimize.curve_fit(lambda x, *b: michaelis(x, b), x, y, [200.0, 0.05])[0]
    s = np.sqrt(np.sum((y - michaelis(x, end)) ** 2) / (y.size - 2))
    u = np.full(y.size, s * stats.t.ppf(0.975, y.size - 2) / Z)
    profiles = profiles_of(fit_of(michaelis, x, y, u, [200.0, 0.05], low))
    for profile, (lower, upper) in zip(profiles, expected.values(), strict=True):
        assert profile.threshold == pytest.approx(Z, rel=1e-9)
        assert profile.low == pytest.approx(lower, rel=5e-4)
        assert profile.high == pytest.approx(upper, rel=5e-4)
    assert profiles[1].high - end[1] > 1.25 * (end[1] - profiles[1].low)


def test_a_ratio_of_two_means_has_fiellers_limits():
    """Two temperatures alone: exp(b (T1 - T0)) is the ratio of the means there."""
    rng = np.random.default_rng(5)
    hot = np.arange(24) % 2 == 1
    temperature = np.where(hot, 110.0, REFERENCE.temperature_c)
    points = replace(
        points_of(24),
        mu=np.where(hot, 0.10, 0.12) * (1.0 + 0.35 * rng.normal(size=24)),
        u_random=np.where(hot, 0.05, 0.03),
        temperature_c=temperature,
        pressure_mpa=np.full(24, REFERENCE.pressure_mpa),
    )
    fit = joint_fit([Block("ratio", points, static.LAW, {"c": 0.0})], REFERENCE)
    profile = profiles_of(fit)[1]
    weights = 1.0 / fit.model.variance(fit.estimate.variances)
    means = [np.average(points.mu[own], weights=weights[own]) for own in (~hot, hot)]
    spreads = [1.0 / np.sum(weights[own]) for own in (~hot, hot)]
    q = profile.threshold**2
    # (m1 - r m0)^2 = q (s1^2 + r^2 s0^2)
    limits = np.roots(
        [
            means[0] ** 2 - q * spreads[0],
            -2.0 * means[0] * means[1],
            means[1] ** 2 - q * spreads[1],
        ]
    )
    expected = np.sort(np.log(limits) / 30.0)
    assert [profile.low, profile.high] == pytest.approx(expected, rel=1e-4)
    assert profile.value - profile.low > 1.1 * (profile.high - profile.value)


def nist(name):
    """Return a set with its spread told as a third larger: no scatter is left to be found."""
    case = read(name)
    s = np.sqrt(case.rss / (case.y.size - case.certified.size))
    u = np.full(case.y.size, 1.3 * s)
    fit = fit_of(MODELS[name], case.x, case.y, u, case.certified)
    assert fit.estimate.variances.tolist() == [0.0]
    return case.x, case.y, case.certified, u, profiles_of(fit)


@pytest.mark.parametrize("name", ["Misra1a", "Rat42", "BoxBOD"])
def test_nist_intervals_are_those_of_lmfit(name):
    x, y, certified, u, profiles = nist(name)
    curve = MODELS[name]
    parameters = lmfit.Parameters()
    for i, value in enumerate(certified):
        parameters.add(f"b{i}", value=value)
    minimizer = lmfit.Minimizer(
        lambda p: (y - curve(x, np.array([p[n].value for n in p]))) / u,
        parameters,
        scale_covar=False,
    )
    result = minimizer.leastsq(xtol=1e-12, ftol=1e-12)
    found = lmfit.conf_interval(
        minimizer,
        result,
        sigmas=[Z],
        prob_func=lambda best, new: stats.chi2.cdf(new.chisqr - best.chisqr, 1),
    )
    for profile in profiles:
        (_, low), _, (_, high) = found[profile.name]
        assert profile.low == pytest.approx(low, abs=1e-3 * (high - low))
        assert profile.high == pytest.approx(high, abs=1e-3 * (high - low))


def test_a_nist_profile_is_that_of_refits_by_scipy():
    """Every value on the way, of the two parameters of BoxBOD, which bend far."""
    x, y, certified, u, profiles = nist("BoxBOD")
    curve = MODELS["BoxBOD"]
    least = optimize.least_squares(lambda b: (y - curve(x, b)) / u, certified, xtol=1e-14)
    for i, profile in enumerate(profiles):
        for at, root in zip(profile.at, profile.root, strict=True):
            costs = [
                optimize.least_squares(
                    lambda b, i=i, at=at: (y - curve(x, np.insert(b, i, at))) / u,
                    np.delete(least.x, i) * factor,
                    x_scale="jac",
                    xtol=1e-12,
                    ftol=1e-12,
                ).cost
                for factor in (0.3, 1.0, 3.0)
            ]
            rise = np.sqrt(max(2.0 * (min(costs) - least.cost), 0.0))
            assert abs(root) == pytest.approx(rise, rel=1e-3, abs=1e-3)
            assert np.sign(root) == np.sign(at - profile.value) or abs(root) < 1e-6
