from dataclasses import replace

import numpy as np
import pytest

from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.friction.pack_levels import PackLevels
from rigdata.wear.history import history
from rigdata.wear.life import FRICTION, MATING, MU, service_life
from rigdata.wear.rates import wear_rate

DUTY = Duty("stages", sliding_power_w=500.0, clamp_load_n=6000.0, hours_per_year=20.0)  # 1.8 MJ/h
LIMITS = ServiceLimits(friction_wear_limit_mm=0.05, mating_wear_limit_mm=0.05, least_mu=0.12)


def course(per_mj=-5e-4, seed=1, sd=0.01):
    rng = np.random.default_rng(seed)
    work = np.array([0.0, 0.0, 0.0, 0.0, 90.0, 120.0, 180.0])
    mu = 0.145 * np.exp(per_mj * work + rng.normal(0.0, sd, work.size))
    n = work.size
    text = {name: np.full(n, name) for name in ("material", "batch", "state")}
    levels = PackLevels(
        pack=np.array([f"A{i}" for i in range(n)]), **text, hours=work / 1.8, mu=mu,
        u_random=np.full(n, 1e-3), source=("gain",), shared=np.full((n, 1), 5e-3),
    )  # fmt: skip
    return history(levels, work)


def rate(wearing, member, um_per_h, seed=2):
    plates = wearing(rate=um_per_h, pack_sd=0.02 * um_per_h, plate_sd=0.02 * um_per_h,
                     mj_per_hour=1.8).drawn(np.random.default_rng(seed))  # fmt: skip
    return wear_rate(replace(plates, member=member))


def test_the_thinner_margin_comes_first(wearing):
    rates = [rate(wearing, "friction", 0.12), rate(wearing, "mating", 0.45)]
    life = service_life("rough", LIMITS, rates, course(), DUTY)
    assert [limit.what for limit in life.limits] == [MATING, MU, FRICTION]
    assert life.first.hours == pytest.approx(50.0 / 0.45, rel=0.05)
    assert life.first.low < 50.0 / 0.45 < life.first.high
    assert "mating plates have lost 0.05 mm" in life.words
    assert f"{life.first.hours / 20.0:.1f} years" in life.words
    assert "renew the mating plates alone" in life.plan


def test_half_the_power_is_twice_the_hours(wearing):
    rates = [rate(wearing, "mating", 0.45)]
    full, half = (
        service_life("rough", LIMITS, rates, None, replace(DUTY, sliding_power_w=power)).first
        for power in (500.0, 250.0)
    )
    assert half.hours == pytest.approx(2.0 * full.hours)
    assert (half.low, half.high) == pytest.approx((2.0 * full.low, 2.0 * full.high))


def test_members_that_wear_alike_are_renewed_together(wearing):
    rates = [rate(wearing, "friction", 0.40), rate(wearing, "mating", 0.45)]
    assert "renew both members" in service_life("rough", LIMITS, rates, None, DUTY).plan


def test_a_coefficient_that_falls_fast_ends_the_pack(wearing):
    rates = [rate(wearing, "mating", 0.1)]
    life = service_life("rough", LIMITS, rates, course(per_mj=-2e-3), DUTY)
    expected = np.log(0.145 / 0.12) / 2e-3 / 1.8
    assert life.first.what == MU
    assert life.first.low < expected < life.first.high


def test_a_coefficient_that_is_not_resolved_to_fall_has_no_upper_end():
    life = service_life("rough", LIMITS, [], course(per_mj=0.0, sd=0.02), DUTY)
    assert life.first.high == np.inf


def test_a_coefficient_that_is_too_low_when_new_ends_at_once():
    limits = replace(LIMITS, least_mu=0.2)
    assert service_life("rough", limits, [], course(), DUTY).first.hours == 0.0


def test_without_limits_there_is_no_life(wearing):
    assert (
        service_life("rough", ServiceLimits(), [rate(wearing, "mating", 0.4)], None, DUTY) is None
    )


def test_hours_beyond_the_tests_are_said_to_be(wearing):
    life = service_life("rough", LIMITS, [rate(wearing, "friction", 0.12)], None, DUTY)
    assert life.first.extrapolated
    assert "the tests reach" in life.words


def test_history_by_ordinary_least_squares():
    # Without measurement errors the line is ordinary least squares of ln mu.
    work = course().work_mj
    bare = replace(course().levels, u_random=np.full(7, 1e-9), shared=np.zeros((7, 1)))
    found = history(bare, work)
    (slope, start), covariance = np.polyfit(work, np.log(bare.mu), 1, cov=True)
    assert found.slope == pytest.approx(slope, rel=1e-6)
    assert found.mu_new == pytest.approx(np.exp(start), rel=1e-9)
    assert found.u == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-5)
    assert found.high - slope == pytest.approx(2.570581836 * found.u, rel=1e-4)  # t, 5 dof
