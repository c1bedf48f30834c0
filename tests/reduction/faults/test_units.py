"""Another unit by the level of a run and by the noise of its idle channel."""

import math
from dataclasses import replace

import pytest

from rigdata.reduction.faults.compared import Compared
from rigdata.reduction.faults.fault import Action, Kind, Sureness
from rigdata.reduction.faults.levels import Level
from rigdata.reduction.faults.units import odd_levels, units
from tests.reduction.faults.test_unlike import trait

LBF_FT = math.log(1.0 / 1.3558179483)  # NIST SP 811: 1 lbf ft is 1.355 818 N m


def found(offset, noise, spread, look=units, faults=()):
    """What is found in a run with this level, and this noise of its torque over that of others."""
    usual = [trait(f"R{i}") for i in range(9)]
    one = trait("R99")
    one = replace(one, torque=replace(one.torque, noise=0.1 * math.exp(noise)))
    levels = {"R99": Level(offset, spread, 8, 3)}
    return list(look(Compared([*usual, one], levels, {}, faults)))


def test_level_and_noise_off_by_one_factor_are_a_unit():
    (fault,) = found(LBF_FT, LBF_FT, spread=0.03)
    assert (fault.kind, fault.channel, fault.run) == (Kind.UNIT, "torque", "R99")
    assert fault.action is Action.LEFT_OUT
    assert "lbf*ft taken for N*m" in fault.evidence


def test_where_like_runs_scatter_the_noise_must_show_it_too():
    """The level is 4.9 spreads off: by itself no more than a run of another material."""
    (fault,) = found(LBF_FT, LBF_FT, spread=0.062)
    assert (fault.kind, fault.action) == (Kind.UNIT, Action.LEFT_OUT)
    assert not found(LBF_FT, 0.0, spread=0.062)
    assert not found(LBF_FT, -LBF_FT, spread=0.062)
    assert not found(LBF_FT, LBF_FT, spread=0.08)


def test_a_clear_level_without_the_noise_is_told_and_kept():
    (fault,) = found(LBF_FT, 0.05, spread=0.03)
    assert (fault.kind, fault.sureness, fault.action) == (
        Kind.UNIT,
        Sureness.POSSIBLE,
        Action.KEPT,
    )


def test_a_level_that_no_unit_gives_is_told_where_nothing_else_is():
    assert not found(-0.6, 0.0, spread=0.03)  # 0.55
    (odd,) = found(-0.6, 0.0, 0.03, odd_levels)
    assert (odd.kind, odd.action) == (Kind.ODD_LEVEL, Action.KEPT)
    assert "torque over load is 0.549 times that of 8 like runs of 3 packs" in odd.evidence
    assert not found(-0.6, 0.0, 0.03, odd_levels, [odd])
    # six spreads, and two thirds more for three packs alone
    assert found(0.31, 0.0, 0.03, odd_levels)
    assert not found(0.29, 0.0, 0.03, odd_levels)


@pytest.mark.parametrize("offset", [0.1, -0.14])
def test_a_level_near_that_of_like_runs_is_no_unit(offset):
    assert not found(offset, offset, spread=0.01)
