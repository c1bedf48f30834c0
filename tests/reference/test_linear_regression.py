"""NIST Statistical Reference Datasets, linear regression (certified values).

Data in data/norris.csv and data/longley.csv.  The certified values of Norris
are those in scipy's copy of the NIST file; those of Longley were written from
memory and confirmed by an exact (mpmath) computation to all digits given.
"""

from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.least_squares import fit_linear, fit_polynomial

DATA = Path(__file__).parent / "data"

LONGLEY = [
    (-3482258.63459582, 890420.383607373),
    (15.0618722713733, 84.9149257747669),
    (-0.0358191792925910, 0.0334910077722432),
    (-2.02022980381683, 0.488399681651699),
    (-1.03322686717359, 0.214274163161675),
    (-0.0511041056535807, 0.226073200069370),
    (1829.15146461355, 455.478499142212),
]


def read(name: str) -> np.ndarray:
    return np.loadtxt(DATA / name, delimiter=",", skiprows=1)


def test_norris_straight_line() -> None:
    y, x = read("norris.csv").T
    fit = fit_polynomial(x, y, 1)
    assert fit.dof == 34
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(
        [0.232818234301152, 0.429796848199937e-03], rel=1e-10
    )
    assert fit.s == pytest.approx(0.884796396144373, rel=1e-10)


def test_longley_needs_more_than_normal_equations() -> None:
    table = read("longley.csv")
    y, design = table[:, 0], np.column_stack([np.ones(16), table[:, 1:]])
    fit = fit_linear(design, y)
    values, sds = np.transpose(LONGLEY)
    assert fit.dof == 9
    assert fit.coefficients == pytest.approx(values, rel=1e-9)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(sds, rel=1e-9)
    assert fit.s == pytest.approx(304.854073561965, rel=1e-9)
    # What the data can tell apart: normal equations lose the digits asked for.
    naive = np.linalg.solve(design.T @ design, design.T @ y)
    assert np.max(np.abs(naive / values - 1.0)) > 1e-9


def test_a_line_is_the_same_fit_by_design_matrix() -> None:
    y, x = read("norris.csv").T
    line = fit_polynomial(x, y, 1)
    general = fit_linear(np.column_stack([np.ones_like(x), x]), y)
    assert general.coefficients == pytest.approx(line.coefficients, rel=1e-11)
    assert general.covariance == pytest.approx(line.covariance, rel=1e-11)
