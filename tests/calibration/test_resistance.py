import numpy as np
import pytest

from rigdata.calibration.resistance import (
    COLDEST_C,
    R0_OHM,
    WARMEST_C,
    resistance,
    slope,
    temperature,
)
from rigdata.campaign.rig import RESISTANCE_THERMOMETERS
from rigdata.errors import CampaignError

KINDS = tuple(R0_OHM)


def test_the_rig_file_names_the_same_kinds() -> None:
    assert RESISTANCE_THERMOMETERS == KINDS


@pytest.mark.parametrize("kind", KINDS)
def test_there_and_back(kind: str) -> None:
    t = np.concatenate([np.linspace(COLDEST_C, WARMEST_C, 4001), [-1e-6, 0.0, 1e-6]])
    back, inside = temperature(kind, resistance(kind, t))
    assert inside.all()
    assert np.max(np.abs(back - t)) < 1e-9


@pytest.mark.parametrize("kind", KINDS)
def test_the_slope_is_that_of_the_resistance(kind: str) -> None:
    t = np.array([-190.0, -60.0, -1.0, 0.0, 1.0, 90.0, 400.0, 840.0])
    step = 1e-3
    by_difference = (resistance(kind, t + step) - resistance(kind, t - step)) / (2 * step)
    assert slope(kind, t) == pytest.approx(by_difference, rel=1e-7)


def test_the_cold_term_counts_below_zero_only() -> None:
    def quadratic(t: float) -> float:
        return 100.0 * (1.0 + 3.9083e-3 * t - 5.775e-7 * t**2)

    assert resistance("Pt100", 120.0) == pytest.approx(quadratic(120.0), abs=1e-12)
    # C (t - 100) t^3 at -100 degC is -4.183e-12 x 2e8.
    assert resistance("Pt100", -100.0) - quadratic(-100.0) == pytest.approx(-0.08366, abs=1e-10)


def test_outside_is_nan_and_masked() -> None:
    values, inside = temperature("Pt100", [0.0, 18.0, 100.0, 391.0, np.inf, np.nan])
    assert inside.tolist() == [False, False, True, False, False, False]
    assert np.isnan(values).tolist() == [True, True, False, True, True, True]
    assert np.isnan(resistance("Pt100", [-200.1, 850.1, np.inf, np.nan])).all()
    assert np.isnan(slope("Pt100", 851.0))


def test_shapes_are_kept() -> None:
    assert temperature("Pt100", 100.0)[0].shape == ()
    assert temperature("Pt100", np.full((2, 3), 90.0))[0].shape == (2, 3)
    assert temperature("Pt100", [])[0].shape == (0,)


def test_unknown_kind() -> None:
    with pytest.raises(CampaignError, match=r"'Pt500' is not known; expected one of Pt100, Pt1000"):
        resistance("Pt500", 20.0)
