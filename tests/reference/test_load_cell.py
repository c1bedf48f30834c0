"""NIST Statistical Reference Datasets, Pontius: the calibration of a load cell.

Certified values from memory, confirmed by an exact (mpmath) computation that
gives all fifteen digits.  Data in data/pontius.csv.
"""

import datetime
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.least_squares import fit_polynomial
from rigdata.calibration.polynomial import calibrate
from rigdata.campaign.records import CalibrationRecord

DATA = Path(__file__).parent / "data"
Y, X = np.loadtxt(DATA / "pontius.csv", delimiter=",", skiprows=1).T
S = 0.205177424076185e-03


def test_certified_quadratic() -> None:
    fit = fit_polynomial(X, Y, 2)
    assert fit.dof == 37
    assert fit.coefficients == pytest.approx(
        [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14], rel=1e-9, abs=0
    )
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(
        [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16], rel=1e-9, abs=0
    )
    assert fit.s == pytest.approx(S, rel=1e-9)


@pytest.mark.parametrize(
    ("degree", "s"),
    [(1, 2.171273e-3), (2, 2.051774e-4), (3, 2.046495e-4), (4, 2.041511e-4), (5, 2.070398e-4)],
)
def test_residual_by_degree(degree: int, s: float) -> None:
    # Recomputed independently; a quadratic is enough.
    assert fit_polynomial(X, Y, degree).s == pytest.approx(s, rel=1e-6)


def test_sources_add_up_to_the_certified_covariance() -> None:
    # A record whose "indicated" is the load, so that the curve is the certified one.
    record = CalibrationRecord(
        path=Path("pontius.toml"),
        sha256="",
        id="PONTIUS",
        sensor="load cell",
        quantity="clamp_load",
        applied_unit="N",
        indicated_unit="V",
        date=datetime.date(1999, 1, 1),
        valid_until=datetime.date(2000, 1, 1),
        reference_expanded_u_percent=0.02,
        coverage_factor=2.0,
        temperature_c=23.0,
        degree=2,
        series=np.repeat(["1", "2"], 20),
        direction=np.full(40, "up"),
        applied=Y,
        indicated=X,
    )
    curve = calibrate(record)
    at = np.array([1e5, 9.9e5, 3e6])
    rows = curve.sensitivities(at)
    powers = np.vander(at, 3, increasing=True)
    covariance = fit_polynomial(X, Y, 2).covariance
    expected = np.einsum("ni,ij,nj->n", powers, covariance, powers)
    assert np.sum(rows[:3] ** 2, axis=0) == pytest.approx(expected, rel=1e-8)
    assert curve.s == pytest.approx(S, rel=1e-9)
    assert rows[-1] == pytest.approx(S, rel=1e-9)
    assert rows[-2] == pytest.approx(1e-4 * curve.applied(at), rel=1e-12)
