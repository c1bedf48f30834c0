"""Drag surfaces with known coefficients, and what is made of them."""

import math

import numpy as np
import pytest

from rigdata.campaign.campaign import Oil
from rigdata.campaign.viscosity import kinematic_viscosity
from rigdata.errors import ReductionError
from rigdata.reduction.drag import BORROWED_U, Drag, DragData, corrected_akaike, fit_drag
from rigdata.uncertainty.effective_size import effective_size

OIL = Oil("oil", 170.0, 24.0)
SPEED = np.concatenate([np.linspace(1.0, 20.0, 60), -np.linspace(1.0, 20.0, 60)])


def data(torque, *, warmth=None, run="D1", pack="P1", speed=SPEED, noise=1e-4, u_zero=0.02):
    rng = np.random.default_rng(3)
    return DragData(
        run=run,
        pack=pack,
        speed=speed,
        acceleration=np.zeros(speed.size),
        oil_temperature=np.full(speed.size, 70.0) if warmth is None else warmth,
        torque=torque + rng.normal(0.0, noise, speed.size),
        rest_speed=0.05,
        u_zero=u_zero,
        zero_dof=30.0,
    )


def test_seals_and_oil_at_one_temperature():
    found = fit_drag([data(0.5 * np.sign(SPEED) + 0.03 * SPEED)], None)
    at = np.array([-10.0, 0.025, 4.0, 21.0])
    oil = np.full(4, 70.0)
    # at 0.025 rad/s, half of what standstill reads, the seals count half
    wanted = [-0.8, 0.25 + 0.00075, 0.62, 1.13]
    assert found.torque(at, oil) == pytest.approx(wanted, abs=1e-3)
    assert (found.top_speed, found.coldest, found.hottest) == (20.0, 70.0, 70.0)
    assert found.residual == pytest.approx(1e-4, rel=0.3)


def test_churning_grows_with_the_square_and_turns_with_the_speed():
    found = fit_drag([data(0.2 * np.sign(SPEED) + 0.004 * SPEED * np.abs(SPEED))], None)
    at = np.array([-15.0, 15.0])
    assert found.torque(at, np.full(2, 70.0)) == pytest.approx([-1.1, 1.1], abs=2e-3)


@pytest.mark.parametrize(("share", "terms"), [(0.9, "sgn w + w"), (1.1, "sgn w + w + w |w|")])
def test_a_bend_is_taken_where_it_pays_for_its_term(share, terms):
    """By the corrected criterion of Akaike: 30 ln(with / without) < 24/26 - 40/25 - 2."""
    speed = np.concatenate([SPEED[:60:4], SPEED[60::4]])
    line = np.stack([np.sign(speed), speed], axis=1)
    swing = np.resize([1.0, -1.0, -1.0, 1.0], 30)
    *_, bend, scatter = np.linalg.qr(np.column_stack([line, speed * np.abs(speed), swing]))[0].T
    gain = share * (2 + 40 / 25 - 24 / 26)
    torque = line @ [0.5, 0.03] + 0.01 * (scatter + math.sqrt(math.expm1(gain / 30)) * bend)
    assert fit_drag([data(torque, speed=speed, noise=0.0)], None).terms == terms


def test_oil_by_its_viscosity():
    warmth = np.tile(np.linspace(50.0, 110.0, 60), 2)
    nu = kinematic_viscosity(warmth, 170.0, 24.0)
    torque = 0.5 * np.sign(SPEED) + 0.0005 * SPEED * nu
    rng = np.random.default_rng(4)
    order = rng.permutation(60)
    warmth = np.concatenate([warmth[order], warmth[order]])
    torque = 0.5 * np.sign(SPEED) + 0.0005 * SPEED * kinematic_viscosity(warmth, 170.0, 24.0)
    found = fit_drag([data(torque, warmth=warmth)], OIL)
    at, oil = np.array([8.0, 8.0, -8.0]), np.array([60.0, 100.0, 100.0])
    # 24 mm^2/s at 100 degC: 0.5 + 0.0005 * 8 * 24
    thick = float(kinematic_viscosity(np.array([60.0]), 170.0, 24.0)[0])
    wanted = [0.5 + 0.004 * thick, 0.596, -0.596]
    assert found.torque(at, oil) == pytest.approx(wanted, abs=2e-3)


def test_without_the_oil_the_temperature_bends_the_slope():
    rng = np.random.default_rng(5)
    warmth = np.concatenate([rng.uniform(50.0, 110.0, 60)] * 2)
    x = (warmth - warmth.mean()) / 50.0
    found = fit_drag([data(SPEED * (0.03 - 0.01 * x + 0.004 * x**2), warmth=warmth)], None)
    oil = np.array([60.0, 100.0])
    x = (oil - warmth.mean()) / 50.0
    wanted = 10.0 * (0.03 - 0.01 * x + 0.004 * x**2)
    assert found.torque(np.array([10.0, 10.0]), oil) == pytest.approx(wanted, abs=2e-3)


def test_the_criterion_by_hand():
    # 10 ln 0.2 + 6 + 24 / 6
    assert corrected_akaike(2.0, 10, 3) == pytest.approx(10 * math.log(0.2) + 10.0)
    assert math.isfinite(corrected_akaike(0.0, 10, 3))


@pytest.mark.parametrize(("cells", "told"), [(6, False), (7, True)])
def test_four_terms_need_seven_cells(cells, told):
    """One more than there are parameters with the scatter, and one to tell it by."""
    speed = np.array([2.0, 5.0, -7.0, 11.0, -13.0, 17.0, 20.0])[:cells]
    warmth = np.array([50.0, 90.0, 65.0, 110.0, 80.0, 55.0, 100.0])[:cells]
    x = (warmth - warmth.mean()) / 50.0
    torque = 0.5 * np.sign(speed) + speed * (0.03 + 0.01 * x**2) + 0.002 * speed * np.abs(speed)
    found = fit_drag([data(torque, warmth=warmth, speed=speed, noise=0.0)], None)
    assert (found.terms == "sgn w + w + w t^2 + w |w|") is told


def test_its_uncertainty_is_that_of_a_line_through_scatter():
    """Of repeated fits with other noise, at a few speeds."""
    at, oil = np.array([2.0, 10.0, 20.0]), np.full(3, 70.0)
    found, stated = [], []
    for seed in range(300):
        noise = np.random.default_rng(seed).normal(0.0, 0.05, SPEED.size)
        fit = fit_drag([data(0.5 * np.sign(SPEED) + 0.03 * SPEED + noise, u_zero=0.0)], None)
        if fit.terms != "sgn w + w":
            continue
        found.append(fit.torque(at, oil))
        stated.append(np.sqrt((fit.shift(at, oil) ** 2).sum(axis=0)))
    assert len(found) > 150
    ratio = np.std(found, axis=0) / np.mean(stated, axis=0)
    assert ratio == pytest.approx(np.ones(3), abs=0.2)


def test_its_degrees_of_freedom_are_those_of_independent_cells():
    torque = 0.5 * np.sign(SPEED) + 0.03 * SPEED
    runs = data(torque, noise=0.05)
    found = fit_drag([runs], None)
    residual = runs.torque - found.torque(runs.speed, runs.oil_temperature)
    cells = effective_size(residual).n_effective
    assert found.terms == "sgn w + w"
    assert [s.dof for s in found.sources[:2]] == pytest.approx([cells - 2.0] * 2)


def test_zeros_of_its_runs():
    torque = 0.5 * np.sign(SPEED) + 0.03 * SPEED
    runs = [data(torque, run=f"D{i}", u_zero=u) for i, u in enumerate((0.03, 0.04))]
    found = fit_drag(runs, None)
    # mean of two: sqrt(0.03^2 + 0.04^2) / 2
    assert found.u_zero == pytest.approx(0.025)
    shift = found.shift(np.array([3.0, 9.0]), np.full(2, 70.0))
    assert shift[-1] == pytest.approx([0.025, 0.025])
    assert [s.id for s in found.sources][-1] == "drag:D0+D1:zero"
    # Welch and Satterthwaite: 0.05^4 / (0.03^4 / 30 + 0.04^4 / 30)
    assert found.sources[-1].dof == pytest.approx(30 * 0.05**4 / (0.03**4 + 0.04**4))


def test_borrowed_from_one_pack_or_from_several():
    torque = 0.5 * np.sign(SPEED) + 0.03 * SPEED
    one = fit_drag([data(torque)], None, borrowed=True)
    assert one.borrowed_u == BORROWED_U
    at, oil = np.array([10.0, -10.0]), np.full(2, 70.0)
    assert one.shift(at, oil)[-1] == pytest.approx([0.16, -0.16], rel=1e-3)  # a fifth of 0.8
    shares = (0.9, 1.0, 1.1, 1.2)
    several = fit_drag(
        [data(s * torque, run=f"D{i}", pack=f"P{i}") for i, s in enumerate(shares)],
        None,
        borrowed=True,
    )
    # standard deviation of the shares over their mean, 1.05
    assert several.borrowed_u == pytest.approx(np.std(shares, ddof=1) / 1.05, rel=1e-3)
    assert several.sources[-1].dof == 3.0
    assert fit_drag([data(torque)], None).borrowed_u == 0.0


def test_where_it_was_not_measured():
    warmth = np.tile(np.linspace(60.0, 90.0, 60), 2)
    found = fit_drag([data(0.5 * np.sign(SPEED) + 0.03 * SPEED, warmth=warmth)], None)

    def beyond(speed, cold, hot):
        return found.beyond(np.array([0.0, speed]), np.array([cold, hot]))

    assert beyond(20.9, 56.0, 94.0) == ""
    assert beyond(-20.9, 56.0, 94.0) == ""
    assert "slip to 21.1 rad/s, drag known to 20 rad/s" in beyond(-21.1, 70.0, 80.0)
    assert "oil from 54 to 80 degC" in beyond(1.0, 54.0, 80.0)
    assert "drag known from 60 to 90 degC" in beyond(1.0, 70.0, 96.0)
    assert beyond(1.0, 55.4, 94.6) == ""
    assert "oil from 55 to 80 degC" in beyond(1.0, 54.6, 80.0)
    assert "oil from 70 to 95 degC" in beyond(1.0, 70.0, 95.4)


def test_shift_by_hand():
    drag = Drag(
        runs=("D1",),
        terms="w",
        coefficients=np.array([0.5, 0.03]),
        factor=np.array([[0.02, 0.01], [0.0, 0.003]]),
        u_zero=0.04,
        residual=0.1,
        top_speed=20.0,
        coldest=60.0,
        hottest=80.0,
        sources=(),
        borrowed_u=0.2,
        basis=lambda speed, _oil: np.stack([np.sign(speed), speed]),
    )
    at, oil = np.array([10.0, -5.0]), np.full(2, 70.0)
    assert drag.torque(at, oil) == pytest.approx([0.8, -0.65])
    rows = drag.shift(at, oil)
    assert rows[0] == pytest.approx([0.02, -0.02])
    assert rows[1] == pytest.approx([0.01 + 0.03, -0.01 - 0.015])
    assert rows[2] == pytest.approx([0.04, 0.04])
    assert rows[3] == pytest.approx([0.16, -0.13])


def test_five_cells_are_too_few():
    speed = np.linspace(1.0, 5.0, 5)
    with pytest.raises(ReductionError, match="too few cells"):
        fit_drag([data(speed, speed=speed)], None)
    assert math.isfinite(fit_drag([data(np.arange(6.0), speed=np.arange(1.0, 7.0))], None).residual)
