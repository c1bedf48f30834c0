"""Oil viscosity against temperature, ASTM D341."""

import numpy as np
import pytest

from rigdata.campaign.viscosity import kinematic_viscosity

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
