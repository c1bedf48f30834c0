"""The surface: its columns, its knots, its fit."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, THETA, Truth, drawn

from rigdata.errors import FitError
from rigdata.friction.budget import fit_budget, fit_solution
from rigdata.friction.causes import SHAPE
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.design import Block, conditions_of
from rigdata.friction.fit import fit_campaign
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.knots import Knots, knots_of
from rigdata.friction.laws.registry import law
from rigdata.friction.laws.surface import columns, surface
from rigdata.friction.what_if import what_ifs

KNOTS = Knots((0.01, 0.05, 0.2, 1.0), (40.0, 80.0, 120.0), (0.5, 2.0))
BUMPY = Truth(bump=0.08, runs=(4, 4), points=(9, 9))


def layout(speeds, temperatures, pressures):
    """Every combination of the values given, four times."""
    mesh = (np.repeat(a.ravel(), 4) for a in np.meshgrid(speeds, temperatures, pressures))
    return Conditions(*mesh)


def fitted(points, reference=REFERENCE):
    conditions = conditions_of(points)
    form = surface(knots_of(conditions))
    held = dict.fromkeys(form.undetermined(conditions), 0.0)
    return joint_fit([Block("rough (new)", points, form, held)], reference)


@pytest.fixture(scope="module")
def bumpy():
    return fitted(drawn(BUMPY, np.random.default_rng(2)))


@pytest.fixture(scope="module")
def kept():
    """Points with a bump and the surface that is taken for them."""
    points = drawn(BUMPY, np.random.default_rng(2))
    (fit,) = fit_campaign(points, REFERENCE, laws=["surface"]).values()
    return points, fit


def test_jacobian_agrees_with_central_differences():
    form, rng = surface(KNOTS), np.random.default_rng(1)
    where = Conditions(np.geomspace(0.005, 2, 9), np.linspace(20, 140, 9), np.linspace(0.3, 3, 9))
    theta = np.concatenate([[0.12], 0.02 * rng.normal(size=len(form.parameters) - 1)])
    analytic = form.jacobian(where, theta, REFERENCE)
    for i in range(theta.size):
        step = np.zeros_like(theta)
        step[i] = 1e-6
        above, below = (form.mu(where, theta + s, REFERENCE) for s in (step, -step))
        assert analytic[:, i] == pytest.approx((above - below) / 2e-6, rel=1e-6, abs=1e-9)


def test_every_coefficient_but_the_first_is_idle_at_the_reference():
    assert columns(KNOTS, at(REFERENCE), REFERENCE) == pytest.approx(0.0, abs=1e-14)
    theta = np.concatenate([[0.12], np.ones(len(surface(KNOTS).parameters) - 1)])
    assert surface(KNOTS).mu(at(REFERENCE), theta, REFERENCE) == pytest.approx(0.12)


def test_names_of_the_parameters_follow_the_columns():
    form = surface(KNOTS)
    straight = ("mu0", "c1", "c2", "c3", "c12", "c13", "c23")
    bends = ("v1", "v2", "t1", "v0t1", "v1t0", "v1t1", "v2t0", "v2t1", "v1p0", "v2p0", "t1p0")
    assert form.names == straight + bends
    assert [smooth.members for smooth in form.smooths] == [bends[:2], bends[2:3], bends[3:]]
    where = Conditions([0.01, 0.05, 0.2, 1.0], 80.0, 1.0)
    own = columns(KNOTS, where, REFERENCE)[:, form.names.index("t1") - 1]
    assert own == pytest.approx(0.0, abs=1e-14)  # bends of temperature know no speed


def test_ln_mu_goes_on_straight_beyond_the_knots():
    form, rng = surface(KNOTS), np.random.default_rng(1)
    theta = np.concatenate([[0.12], 0.02 * rng.normal(size=len(form.parameters) - 1)])
    for low, high in ((1e-4, 0.01), (1.0, 100.0)):
        where = Conditions(np.geomspace(low, high, 5), 80.0, 1.0)
        steps = np.diff(np.log(form.mu(where, theta, REFERENCE)))
        assert steps == pytest.approx(steps[0], rel=1e-9)


def test_knots_stand_on_settings_and_are_few_where_these_are():
    where = layout([0.01, 0.02, 0.05, 0.1, 0.5], [60.0, 61.0, 99.5, 100.0], [0.8, 1.0, 1.6])
    assert knots_of(where) == Knots((0.01, 0.02, 0.05, 0.1, 0.5), (60.0, 100.0), (0.8, 1.0, 1.6))
    assert knots_of(layout(np.geomspace(0.01, 1, 30), 80.0, 1.0)).temperature_c == ()
    assert len(knots_of(layout(np.geomspace(0.01, 1, 30), 80.0, 1.0)).slip_speed_m_s) == 12
    few = Conditions(np.geomspace(0.01, 1, 18), 80.0, 1.0)
    assert len(knots_of(few).slip_speed_m_s) == 3


def test_two_settings_of_each_quantity_show_no_bend():
    where = layout([0.05, 0.5], [60.0, 100.0], [0.8, 1.6])
    form = surface(knots_of(where))
    assert form.names == ("mu0", "c1", "c2", "c3", "c12", "c13", "c23")
    assert form.smooths == ()


def test_another_reference_condition_gives_the_same_surface(bumpy):
    points = bumpy.design.blocks[0].points
    elsewhere = replace(REFERENCE, slip_speed_m_s=0.5, temperature_c=50.0, pressure_mpa=0.7)
    there = fitted(points, elsewhere)
    assert there.curve == pytest.approx(bumpy.curve, rel=1e-6)


def test_order_of_the_points_changes_nothing(bumpy):
    points = bumpy.design.blocks[0].points
    order = np.random.default_rng(8).permutation(len(points))
    shuffled = fitted(points.select(order))
    assert shuffled.curve == pytest.approx(bumpy.curve[order], rel=1e-6)
    assert shuffled.effective_parameters == pytest.approx(bumpy.effective_parameters, abs=1e-3)


def test_straight_lines_need_few_effective_parameters(bumpy):
    plain = fitted(drawn(replace(BUMPY, bump=0.0), np.random.default_rng(2)))
    assert 7.0 <= plain.effective_parameters < 12.0 < bumpy.effective_parameters < 25.0


def test_a_surface_without_bends_is_the_straight_lines():
    """Bends whose variance is 0 are held by the floor alone."""
    points = drawn(replace(BUMPY, bump=0.0, point_sd=0.002), np.random.default_rng(0))
    fit = fitted(points)
    still = np.flatnonzero(fit.estimate.smoothing == 0.0)
    assert still.size
    own = fit.design.prior.columns[np.isin(fit.design.prior.smooth, still)]
    assert np.abs(fit.estimate.theta[own]).max() < 1e-6


def test_causes_of_a_surface_add_up_and_name_its_shape(kept):
    points, fit = kept
    budget = fit_budget(points, fit, Conditions(0.03, 70.0, 1.2))
    assert sum(c.effect**2 for c in budget.causes) == pytest.approx(budget.u**2, rel=1e-9)
    assert any(c.kind == SHAPE and c.effect > 0.0 for c in budget.causes)
    told = fit.predict(Conditions(0.03, 70.0, 1.2))
    assert budget.u == pytest.approx(told.u_mu[0], rel=1e-9)


def test_more_packs_of_a_surface_would_help(kept):
    points, fit = kept
    where = Conditions(0.03, 70.0, 1.2)
    solution = fit_solution(points, fit)
    packs, runs, _ = what_ifs(solution, where, fit_budget(points, fit, where))
    half = float(fit.predict(where).mean_high[0] - fit.predict(where).mu[0])
    assert packs.half_width < 0.8 * half
    assert runs.half_width < half * 1.001


def test_a_surface_without_knots_is_refused():
    with pytest.raises(FitError, match="needs the values that were tested"):
        law("surface")


def test_a_surface_without_room_to_bend_is_still_a_surface():
    truth = Truth(law="stribeck", theta=THETA["stribeck"], layout=((3, 5), (1, 2), (1,)))
    points = drawn(truth, np.random.default_rng(12))
    (fit,) = fit_campaign(points, REFERENCE, laws=["surface"]).values()
    assert not fit.form.smooths
    assert fit.predict(at(REFERENCE)).mu[0] == pytest.approx(0.15, rel=0.3)
