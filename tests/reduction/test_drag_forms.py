"""The terms of a drag surface by hand."""

import numpy as np
import pytest

from rigdata.campaign.campaign import Oil
from rigdata.reduction.drag_forms import DragForm, candidates

OIL = Oil("oil", 170.0, 24.0)
SPEED, WARMTH = np.array([0.05, -8.0]), np.array([40.0, 100.0])


def terms(*names, middle=60.0, oil=None):
    return DragForm(tuple(names), middle, 0.1, oil)(SPEED, WARMTH)


def test_speed_turn_and_bend():
    found = terms(("sgn w",), ("w",), ("w |w|",))
    # at half of what standstill reads the seals count half
    assert found == pytest.approx(np.array([[0.5, -1.0], [0.05, -8.0], [0.0025, -64.0]]))


def test_warmth_in_units_of_50_k_from_the_middle():
    assert terms(("w", "t")) == pytest.approx(np.array([[0.05 * -0.4, -8.0 * 0.8]]))
    assert terms(("w", "nu")) == pytest.approx(np.array([[0.05 * 0.16, -8.0 * 0.64]]))


def test_viscosity_over_that_at_the_middle():
    """At 40 and 100 degC it is what the oil states."""
    found = terms(("w", "nu"), middle=100.0, oil=OIL)
    assert found == pytest.approx(np.array([[0.05 * 170.0 / 24.0, -8.0]]), rel=1e-6)


@pytest.mark.parametrize(("span", "forms"), [(4.7, 2), (5.3, 11)])
def test_warmth_enters_where_the_oil_went_through_five_kelvin(span, forms):
    found = candidates(np.array([60.0, 60.0 + span]), 0.1, OIL)
    assert len(found) == forms
    assert found[0].middle == pytest.approx(60.0 + span / 2)
