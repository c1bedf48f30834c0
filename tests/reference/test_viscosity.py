"""Oil viscosity against temperature, ASTM D341."""

import numpy as np
import pytest

from rigdata.campaign.viscosity import kinematic_viscosity
from rigdata.campaign.viscosity_index import viscosity_index

# Formula of ASTM D341; no worked example is published, so the values are those on which two
# independent codes agree to 1e-5 above 3 mm^2/s.
CASES = [
    ((73.30, 8.86), [240.98124, 30.08261, 15.18039, 5.74212, 3.44168]),
    ((22.83, 5.05), [50.98304, 12.28032, 7.51616, 3.63592, 2.44205]),
]


@pytest.mark.parametrize(("pair", "expected"), CASES)
def test_two_codes_agree(pair, expected):
    found = kinematic_viscosity(np.array([20.0, 60.0, 80.0, 120.0, 150.0]), *pair)
    assert found == pytest.approx(expected, rel=2e-6 if min(expected) > 3 else 2e-5)


def test_passes_through_its_own_two_values():
    found = kinematic_viscosity(np.array([40.0, 100.0]), 73.30, 8.86)
    assert found == pytest.approx([73.30, 8.86], rel=1e-5)


# ASTM D2270: oils and rounded indices remembered from the standard and reproduced by the package
# chemicals 1.5.2, whose own worked example is the first; unrounded values from that package.
INDEX = [((73.30, 8.86), 92.43), ((22.83, 5.05), 156.42), ((53.47, 7.80), 111.31)]


@pytest.mark.parametrize(("pair", "expected"), INDEX)
def test_viscosity_index(pair, expected):
    found = viscosity_index(*pair)
    assert found == pytest.approx(expected, abs=0.1)
    assert round(found) == round(expected)


def test_viscosity_index_beyond_the_table_follows_the_formulas_of_the_standard():
    """L and H at 75 mm^2/s are 5582.8125 and 1739; both ends of the table meet the formulas."""
    assert viscosity_index(5582.8125, 75.0) == pytest.approx(0.0, abs=1e-9)
    assert viscosity_index(1739.0, 75.0) == pytest.approx(100.0, abs=1e-9)
    assert viscosity_index(3000.0, 70.0) == pytest.approx(viscosity_index(3000.0, 70.001), abs=0.1)


def test_the_other_branch_begins_at_an_index_of_100():
    at_100c = 12.4
    assert viscosity_index(113.3, at_100c) == pytest.approx(100.0, abs=0.02)
    assert viscosity_index(113.2, at_100c) > 100.0
    assert viscosity_index(1.5, 1.2) is None
