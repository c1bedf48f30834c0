import numpy as np
import pytest

from rigdata.calibration.its90 import PIECES
from rigdata.calibration.thermocouple import COLDEST_C, seebeck, temperature, voltage
from rigdata.errors import CampaignError

TYPES = tuple(PIECES)


@pytest.mark.parametrize("kind", TYPES)
def test_there_and_back(kind: str) -> None:
    low, high = COLDEST_C, PIECES[kind][-1].high
    t = np.concatenate([np.linspace(low, high, 4001)[1:-1], [-1e-6, 0.0, 1e-6]])
    back, inside = temperature(kind, voltage(kind, t))
    assert inside.all()
    assert np.max(np.abs(back - t)) < 1e-9


@pytest.mark.parametrize("kind", TYPES)
def test_seebeck_is_the_slope(kind: str) -> None:
    t = np.array([-150.0, -30.0, 40.0, 180.0, 390.0])
    step = 1e-3
    slope = (voltage(kind, t + step) - voltage(kind, t - step)) / (2 * step)
    assert seebeck(kind, t) == pytest.approx(slope, rel=1e-7)


@pytest.mark.parametrize("kind", TYPES)
def test_pieces_meet(kind: str) -> None:
    for lower, upper in zip(PIECES[kind], PIECES[kind][1:], strict=False):
        assert lower.high == upper.low
        edge = lower.high
        assert voltage(kind, edge) == pytest.approx(voltage(kind, edge + 1e-9), abs=1e-6)


def test_a_junction_at_the_same_temperature_gives_no_voltage() -> None:
    warm, inside = temperature("K", 0.0, junction_c=31.7)
    assert inside
    assert warm == pytest.approx(31.7, abs=1e-9)


def test_junction_may_change_over_time() -> None:
    junction = np.array([20.0, 25.0, 30.0])
    measured = voltage("N", 140.0) - voltage("N", junction)
    warm, _ = temperature("N", measured, junction_c=junction)
    assert warm == pytest.approx([140.0] * 3, abs=1e-9)


def test_outside_is_nan_and_masked() -> None:
    warm, inside = temperature("T", [-10.0, 0.0, 25.0, np.nan])
    assert inside.tolist() == [False, True, False, False]
    assert np.isnan(warm).tolist() == [True, False, True, True]
    assert np.isnan(voltage("T", [-271.0, 401.0, np.nan])).all()
    assert np.isnan(seebeck("T", 401.0))
    assert not temperature("K", 1.0, junction_c=np.nan)[1]


def test_unknown_type() -> None:
    with pytest.raises(CampaignError, match=r"type 'Q' is not known; expected one of K, N, J, T"):
        voltage("Q", 20.0)
