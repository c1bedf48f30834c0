"""Pt100 of IEC 60751.

No table of the standard was at hand: the resistances were worked out in exact
fractions, apart from the package, from its formula with constants from memory.
"""

import numpy as np
import pytest

from rigdata.calibration.resistance import resistance, temperature

TABLE = {
    -50.0: 80.3063,
    0.0: 100.0,
    50.0: 119.3971,
    100.0: 138.5055,
    150.0: 157.3251,
    200.0: 175.8560,
    300.0: 212.0515,
    400.0: 247.0920,
}


@pytest.mark.parametrize(("celsius", "ohm"), TABLE.items())
def test_resistances_to_four_decimals(celsius: float, ohm: float) -> None:
    assert resistance("Pt100", celsius) == pytest.approx(ohm, abs=5e-5)


def test_temperatures_come_back() -> None:
    t = np.array(list(TABLE))
    back, inside = temperature("Pt100", resistance("Pt100", t))
    assert inside.all()
    assert back == pytest.approx(t, abs=1e-6)


def test_a_pt1000_has_ten_times_the_resistance() -> None:
    ohm = 10.0 * np.array(list(TABLE.values()))
    assert resistance("Pt1000", list(TABLE)) == pytest.approx(ohm, abs=5e-4)
