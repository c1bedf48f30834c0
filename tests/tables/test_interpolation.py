"""Trilinear interpolation against SciPy's, and its edges."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from rigdata.tables.interpolation import interpolate

AXES = (
    np.array([0.01, 0.03, 0.1, 1.0]),
    np.array([20.0, 80.0, 150.0]),
    np.array([0.5, 1.0, 2.0, 2.5, 4.0]),
)


def test_as_scipy_does_it() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(size=(2, 4, 3, 5))
    at = rng.random((1000, 3)) * [0.99, 130.0, 3.5] + [0.01, 20.0, 0.5]
    at[:4] = [[0.01, 20, 0.5], [1.0, 150, 4.0], [0.1, 80, 2.0], [0.03, 150, 2.25]]
    read = interpolate(AXES, values, tuple(at.T))
    for field, row in zip(values, read, strict=True):
        np.testing.assert_allclose(
            row, RegularGridInterpolator(AXES, field)(at), rtol=0, atol=1e-14
        )


def test_a_missing_node_stays_in_its_cells() -> None:
    values = np.ones((1, 4, 3, 5))
    values[0, 0, 0, 0] = np.nan
    read = interpolate(
        AXES, values, (np.array([0.02, 0.03, 0.05]), np.full(3, 50.0), np.full(3, 0.7))
    )[0]
    assert np.isnan(read[0])
    assert read[1:].tolist() == [1.0, 1.0]


def test_the_edge_value_holds_outside() -> None:
    values = np.arange(60.0).reshape(1, 4, 3, 5)
    far = (np.array([9.0, 0.0]), np.array([500.0, -40.0]), np.array([9.0, 0.0]))
    assert interpolate(AXES, values, far)[0].tolist() == [59.0, 0.0]
