"""Examples of JCGM 101:2008 (Supplement 1 to the GUM), clause 9.

The inputs were read in test files of public packages that quote the document.
Expected values are exact: in closed form for 9.2, by quadrature here for 9.3.
Figures printed in the document are named only where they agree with these.
"""

import math

import numpy as np
import pytest

from rigdata.uncertainty.monte_carlo import (
    linear_test,
    shortest_interval,
    standard_draws,
    summarise,
)
from rigdata.uncertainty.sources import Distribution

DRAWS = 1_000_000
NORMAL, BOX = Distribution.NORMAL, Distribution.RECTANGULAR


def additive(scales, distribution):
    return sum(
        scale * standard_draws(f"X{i}", distribution, DRAWS) for i, scale in enumerate(scales)
    )


class TestAdditiveModel:
    """9.2: Y = X1 + X2 + X3 + X4."""

    def test_normal_inputs(self) -> None:
        # 9.2.2: [-3.92, 3.92], u 2.00.
        drawn = summarise(additive((1, 1, 1, 1), NORMAL))
        assert drawn.u[0] == pytest.approx(2.0, rel=3e-3)
        assert drawn.high[0] == pytest.approx(3.919928, abs=4 * drawn.u_high[0])
        assert drawn.low[0] == pytest.approx(-3.919928, abs=4 * drawn.u_low[0])
        assert drawn.u_high[0] < 0.006

    def test_rectangular_inputs_of_equal_width(self) -> None:
        # 9.2.3: the ends in closed form, printed as 3.88; the linear interval ends at 3.92.
        exact = 2 * math.sqrt(3) * (2 - (3 / 5) ** 0.25)
        assert exact == pytest.approx(3.879406741, abs=1e-9)
        drawn = summarise(additive((1, 1, 1, 1), BOX))
        assert drawn.u[0] == pytest.approx(2.0, rel=3e-3)
        assert drawn.high[0] == pytest.approx(exact, abs=4 * drawn.u_high[0])
        assert drawn.low[0] == pytest.approx(-exact, abs=4 * drawn.u_low[0])
        assert linear_test(0.0, 2.0, drawn).passed[0]  # 0.04 apart, tolerance 0.05

    def test_one_rectangular_input_that_outweighs_the_others(self) -> None:
        # 9.2.4: u 10.1, [-17.0, 17.0]; the linear interval [-19.9, 19.9] is far too wide.
        u = math.sqrt(103.0)
        drawn = summarise(additive((1, 1, 1, 10), BOX))
        assert drawn.u[0] == pytest.approx(10.1489, rel=3e-3)
        assert drawn.high[0] == pytest.approx(17.01581, abs=4 * drawn.u_high[0])
        test = linear_test(0.0, u, drawn)
        assert test.high[0] == pytest.approx(1.959964 * u, abs=1e-4)  # 19.89
        assert not test.passed[0]
        assert test.settled[0]
        # To one digit, 10, any interval within 5 of it would pass: why two digits count here.
        assert linear_test(0.0, u, drawn, digits=1).passed[0]


def quadrature(count=60):
    """Exact distribution of 9.3 on a grid: mean, u and the cumulative probability."""
    node, weight = np.polynomial.legendre.leggauss(count)
    air = 1.2 + 0.1 * node[:, None, None]
    weight_density = 8000.0 + 1000.0 * node[None, :, None]
    reference = 8000.0 + 50.0 * node[None, None, :]
    share = np.prod(np.meshgrid(weight, weight, weight, indexing="ij"), axis=0) / 8.0
    factor = 1.0 + (air - 1.2) * (1.0 / weight_density - 1.0 / reference)
    middle = 100_001.234 * factor - 100_000.0
    spread = math.hypot(0.050, 0.020) * factor
    mean = float((share * middle).sum())
    u = math.sqrt(float((share * (spread**2 + (middle - mean) ** 2)).sum()))

    def below(y):
        from_middle = (y - middle) / (spread * math.sqrt(2.0))
        return float((share * 0.5 * (1.0 + np.vectorize(math.erf)(from_middle))).sum())

    return mean, u, below


@pytest.fixture(scope="module")
def values():
    """Draws of the difference from the nominal mass of 9.3. [mg]"""
    z = {
        name: standard_draws(name, distribution, DRAWS)
        for name, distribution in (
            ("mR", NORMAL), ("dmR", NORMAL), ("ra", BOX), ("rW", BOX), ("rR", BOX),
        )
    }  # fmt: skip
    root3 = math.sqrt(3.0)
    mass = 100_000.0 + 0.050 * z["mR"] + 1.234 + 0.020 * z["dmR"]
    air = 1.2 + 0.1 / root3 * z["ra"]
    own = 8000.0 + 1000.0 / root3 * z["rW"]
    reference = 8000.0 + 50.0 / root3 * z["rR"]
    return mass * (1.0 + (air - 1.2) * (1.0 / own - 1.0 / reference)) - 100_000.0


class TestMassCalibration:
    """9.3: two masses of unequal density in air; the first-order model misses the buoyancy."""

    def test_draws_against_quadrature(self, values) -> None:
        mean, u, below = quadrature()
        assert (mean, u) == pytest.approx((1.234, 0.07547973996), abs=1e-5)
        assert below(1.08443326) == pytest.approx(0.025, abs=2e-4)
        assert below(1.38356674) == pytest.approx(0.975, abs=2e-4)
        drawn = summarise(values)
        assert drawn.mean[0] == pytest.approx(mean, abs=4 * u / math.sqrt(DRAWS))
        assert drawn.u[0] == pytest.approx(u, rel=3e-3)
        assert drawn.low[0] == pytest.approx(1.08443326, abs=1.5e-3)
        assert drawn.high[0] == pytest.approx(1.38356674, abs=1.5e-3)
        shortest = shortest_interval(values)
        assert shortest[0][0] == pytest.approx(1.08443326, abs=3e-3)
        assert shortest[1][0] == pytest.approx(1.38356674, abs=3e-3)

    def test_first_order_fails_and_the_drawn_interval_is_at_hand(self, values) -> None:
        # At the estimates the sensitivities to all densities are nil, so u is that of the masses.
        u_first = math.hypot(0.050, 0.020)
        test = linear_test(1.234, u_first, summarise(values), digits=1)
        assert u_first == pytest.approx(0.0538516481, abs=1e-10)
        assert test.tolerance[0] == pytest.approx(0.005)
        assert not test.passed[0]
        assert test.settled[0]
        assert test.d_low[0] == pytest.approx(1.128453 - 1.08443326, abs=1.5e-3)
        assert test.drawn.high[0] - test.drawn.low[0] > 1.4 * (test.high[0] - test.low[0])

    def test_second_order_passes_to_one_digit(self, values) -> None:
        # u with the second-order term of air and weight density.
        root3 = math.sqrt(3.0)
        mixed = 100_000.0 * (0.1 / root3) * (1000.0 / root3) / 8000.0**2
        u_second = math.sqrt(0.050**2 + 0.020**2 + mixed**2 * (1.0 + (50.0 / 1000.0) ** 2))
        assert u_second == pytest.approx(0.0749630262, abs=2e-6)
        assert linear_test(1.234, u_second, summarise(values), digits=1).passed[0]
