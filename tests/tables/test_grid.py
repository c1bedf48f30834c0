"""Node placement: the promise of the interpolation tolerance, checked from outside."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from rigdata.arrays import BoolArray, FloatArray
from rigdata.errors import TableError
from rigdata.tables.grid import MOST_NODES, Grid, choose_grid
from rigdata.tables.interpolation import interpolate

BOX = ((0.003, 1.5), (40.0, 180.0), (0.3, 3.0))
REFERENCE = (0.1, 80.0, 1.0)


def log_speed(v: FloatArray, t: FloatArray, p: FloatArray) -> FloatArray:
    return (0.11 + 0.008 * np.log(v / 0.1)) * np.exp(-0.0008 * (t - 80.0)) * p**-0.08


def stribeck(v: FloatArray, t: FloatArray, p: FloatArray) -> FloatArray:
    return (0.1 + 0.04 * np.exp(-v / 0.05) + 0.005 * v) * np.exp(-0.002 * (t - 80.0)) * p**-0.2


def nodes_of(law, grid: Grid) -> FloatArray:
    return law(*np.meshgrid(*grid.axes, indexing="ij"))


def worst(law, grid: Grid, box=BOX, seed: int = 7) -> float:
    """Largest relative error, read with SciPy's interpolator on a sample of our own."""
    at = np.random.default_rng(seed).random((50_000, 3))
    low, high = np.array(box).T
    at = low + (high - low) * at
    at[::2, 0] = low[0] * (high[0] / low[0]) ** at[::2, 0].clip(0, 1)
    at[:, 0] = at[:, 0].clip(low[0], high[0])
    exact = law(*at.T)
    read = RegularGridInterpolator(grid.axes, nodes_of(law, grid))(at)
    return float(np.max(np.abs(read / exact - 1.0)))


@pytest.mark.parametrize("law", [log_speed, stribeck])
@pytest.mark.parametrize("tolerance", [0.02, 0.005, 0.001])
def test_interpolation_stays_within_the_tolerance(law, tolerance: float) -> None:
    grid = choose_grid(law, BOX, tolerance=tolerance, keep=REFERENCE)
    assert worst(law, grid) <= tolerance
    assert grid.error <= tolerance
    # The stated error is the one found, not the one allowed.
    assert grid.error == pytest.approx(worst(law, grid), rel=0.2)


def test_a_wide_tolerance_needs_few_nodes() -> None:
    sizes = [
        np.prod([n.size for n in choose_grid(log_speed, BOX, tolerance=t).axes])
        for t in (0.02, 0.005, 0.001)
    ]
    assert sizes[0] < sizes[1] < sizes[2] < MOST_NODES
    assert sizes[1] < 500


def test_geometric_spacing_arises_for_a_logarithmic_law() -> None:
    v = choose_grid(log_speed, BOX, tolerance=0.002).axes[0]
    ratios = v[1:-1] / v[:-2]
    assert ratios.min() > 1.1
    assert ratios.max() / ratios.min() < 1.5


def test_the_grid_spans_the_box_and_holds_the_reference() -> None:
    grid = choose_grid(stribeck, BOX, tolerance=0.005, keep=REFERENCE)
    for nodes, (low, high), kept in zip(grid.axes, BOX, REFERENCE, strict=True):
        assert (nodes[0], nodes[-1]) == (low, high)
        assert np.all(np.diff(nodes) > 0.0)
        assert kept in nodes


def test_a_held_axis_has_one_node() -> None:
    box = (BOX[0], BOX[1], (1.0, 1.0))
    grid = choose_grid(log_speed, box, tolerance=0.005)
    assert grid.axes[2].tolist() == [1.0]
    values = nodes_of(log_speed, grid)[None]
    read = interpolate(grid.axes, values, (np.array([0.07]), np.array([95.0]), np.array([1.0])))
    assert read[0, 0] == pytest.approx(log_speed(0.07, 95.0, 1.0), rel=0.005)


def test_the_tolerance_need_not_hold_where_nothing_was_tested() -> None:
    def wild(v: FloatArray, t: FloatArray, p: FloatArray) -> FloatArray:
        return np.where(v > 1.0, -np.exp(60.0 * v), log_speed(v, t, p))

    def tested(v: FloatArray, t: FloatArray, p: FloatArray) -> BoolArray:
        return v <= 1.0

    grid = choose_grid(wild, BOX, tolerance=0.005, inside=tested)
    assert grid.error <= 0.005
    with pytest.raises(TableError, match="negative"):
        choose_grid(wild, BOX, tolerance=0.005)


def test_a_tolerance_out_of_reach_is_refused() -> None:
    with pytest.raises(TableError, match=r"0\.01%"):
        choose_grid(stribeck, BOX, tolerance=1e-4)
    with pytest.raises(TableError, match="above zero"):
        choose_grid(stribeck, BOX, tolerance=0.0)


def test_a_step_that_no_line_follows_is_refused() -> None:
    def step(v: FloatArray, t: FloatArray, p: FloatArray) -> FloatArray:
        return np.where(v + t / 100.0 + p > 2.5, 0.2, 0.1)

    with pytest.raises(TableError):
        choose_grid(step, BOX, tolerance=0.005)


def test_a_ridge_narrower_than_the_lines_that_were_looked_at_gets_its_nodes() -> None:
    """As the end of an interval has where the spread of two packs takes over."""

    def ridge(v: FloatArray, t: FloatArray, p: FloatArray) -> FloatArray:
        away = np.maximum(np.abs(t - 93.7) / 8.0, np.abs(p - 2.0) / 0.2)
        return log_speed(v, t, p) * (1.0 + 0.02 * np.maximum(1.0 - away, 0.0))

    grid = choose_grid(ridge, BOX, tolerance=0.005, keep=REFERENCE)
    assert worst(ridge, grid) <= 0.005
    assert np.sum(np.abs(grid.axes[1] - 93.7) < 10.0) >= 3
    assert np.sum(np.abs(grid.axes[2] - 2.0) < 0.25) >= 3
    assert max(len(f"{node:.9g}") for node in np.concatenate(grid.axes[1:])) <= 6


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-0.01, 0.012), st.floats(-0.003, 0.001), st.floats(-0.3, 0.1), st.floats(1.05, 500.0)
)
def test_the_promise_holds_for_any_mild_law(a: float, b: float, c: float, span: float) -> None:
    def law(v: FloatArray, t: FloatArray, p: FloatArray) -> FloatArray:
        return (0.12 + a * np.log(v / 0.1)) * np.exp(b * (t - 80.0)) * p**c

    box = ((0.01, 0.01 * span), (20.0, 150.0), (0.5, 2.5))
    assert worst(law, choose_grid(law, box, tolerance=0.005), box) <= 0.005
