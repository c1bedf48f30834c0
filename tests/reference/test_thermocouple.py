"""ITS-90 thermocouple reference functions: NIST Monograph 175, NIST SRD 60.

Table values in data/its90_tables.csv; the other figures were computed with two
independent public implementations that agree to 1e-9 mV.
"""

from pathlib import Path

import numpy as np
import pytest
import thermocouple_its90

from rigdata.calibration.its90 import PIECES
from rigdata.calibration.thermocouple import COLDEST_C, seebeck, temperature, voltage

TABLE = np.genfromtxt(
    Path(__file__).parent / "data" / "its90_tables.csv", delimiter=",", names=True
)
TYPES = ("K", "N", "J", "T")


@pytest.mark.parametrize("kind", TYPES)
def test_nist_tables(kind: str) -> None:
    printed = TABLE[kind]
    known = np.isfinite(printed)
    assert known.sum() >= 61
    # Three decimals are printed, so half of the last one is allowed.
    assert voltage(kind, TABLE["temperature_c"][known]) == pytest.approx(
        printed[known], abs=5.000001e-4
    )


@pytest.mark.parametrize(
    ("kind", "at_100", "at_200", "at_300", "at_400"),
    [
        ("K", 4.096230, 8.138473, 12.208566, 16.397142),
        ("N", 2.774124, 5.913415, 9.341152, 12.973686),
        ("J", 5.268916, 10.778746, 16.327206, 21.848065),
        ("T", 4.278519, 9.288102, 14.861928, 20.871970),
    ],
)
def test_six_decimals(
    kind: str, at_100: float, at_200: float, at_300: float, at_400: float
) -> None:
    mv = voltage(kind, [100.0, 200.0, 300.0, 400.0])
    assert mv == pytest.approx([at_100, at_200, at_300, at_400], abs=1e-6)


def test_type_k_below_zero() -> None:
    assert np.round(voltage("K", -20.0), 3) == -0.778


@pytest.mark.parametrize(
    ("kind", "microvolts"),
    [
        ("K", [41.3686, 39.9654, 41.4457]),
        ("N", [29.6434, 32.9909, 35.4223]),
        ("J", [54.3615, 55.5062, 55.3546]),
        ("T", [46.785, 53.1498, 58.0877]),
    ],
)
def test_seebeck_coefficients(kind: str, microvolts: list[float]) -> None:
    assert 1e3 * seebeck(kind, [100.0, 200.0, 300.0]) == pytest.approx(microvolts, abs=5.1e-5)


@pytest.mark.parametrize(
    ("kind", "mv", "junction", "degrees"),
    [
        ("K", 4.096, 25.0, 124.309948),
        ("N", 5.000, 25.0, 192.251180),
        ("J", 5.000, 25.0, 118.483618),
        ("T", 5.000, 25.0, 135.672000),
        ("K", 1.1, 23.0, 49.907928),
    ],
)
def test_junction_adds_voltages(kind: str, mv: float, junction: float, degrees: float) -> None:
    warm, inside = temperature(kind, mv, junction_c=junction)
    assert inside
    assert warm == pytest.approx(degrees, abs=1e-6)
    # Adding temperatures instead is wrong by far more than the digits asked for.
    added = temperature(kind, mv)[0] + junction
    assert abs(added - degrees) > 0.1


@pytest.mark.parametrize("kind", TYPES)
def test_against_a_public_implementation(kind: str) -> None:
    oracle = thermocouple_its90.get(kind)
    low, high = oracle.range
    t = np.arange(low, high, 1.7)
    assert voltage(kind, t) == pytest.approx([oracle.emf(x) for x in t], abs=1e-12)
    assert seebeck(kind, t) == pytest.approx([oracle.seebeck(x) for x in t], abs=1e-14)
    measured = np.linspace(oracle.emf(COLDEST_C), oracle.emf(high), 200) - oracle.emf(21.0)
    warm, inside = temperature(kind, measured, junction_c=21.0)
    assert inside[1:-1].all()
    expected = [oracle.temperature(e, reference=21.0) for e in measured[1:-1]]
    assert warm[1:-1] == pytest.approx(expected, abs=1e-8)


def test_the_coefficients_are_the_published_ones() -> None:
    published = thermocouple_its90.core._RAW
    for kind, pieces in PIECES.items():
        for piece, raw in zip(pieces, published[kind]["forward"], strict=True):
            assert list(piece.coefficients) == raw["coeffs"]
            assert (piece.low, piece.high) == (raw["t_min_c"], raw["t_max_c"])
