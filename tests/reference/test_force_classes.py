"""Lower limit factor and class arithmetic of force sensors.

Pontius: the load cell of the NIST Statistical Reference Datasets (data in
data/pontius.csv, certified residual standard deviation); 37 degrees of freedom
are those of ASTM E74, so its s is the certified one.  The chain from there (2.4,
the mean ratio, 400 and 2000) was recomputed by hand.  The ISO 376 row is
self-made: it checks arithmetic, not a published example.
"""

import datetime
from pathlib import Path

import numpy as np
import pytest

from rigdata.calibration.assessment import assess
from rigdata.calibration.lower_limit import choose_degree, lower_limit
from rigdata.calibration.tabulation import tabulate
from rigdata.campaign.records import CalibrationRecord

DEFLECTION, LOAD = np.loadtxt(
    Path(__file__).parent / "data" / "pontius.csv", delimiter=",", skiprows=1
).T


def record(**values) -> CalibrationRecord:
    base = {
        "path": Path("record.toml"),
        "sha256": "",
        "id": "R-1",
        "sensor": "load cell",
        "quantity": "force",
        "applied_unit": "N",
        "indicated_unit": "mV/V",
        "date": datetime.date(2025, 1, 1),
        "valid_until": datetime.date(2026, 1, 1),
        "reference_expanded_u_percent": 0.02,
        "coverage_factor": 2.0,
        "temperature_c": 23.0,
        "degree": 2,
    }
    return CalibrationRecord(**(base | values))


PONTIUS = record(
    series=np.repeat(["1", "2"], 20),
    direction=np.full(40, "up"),
    applied=LOAD,
    indicated=DEFLECTION,
)


def test_lower_limit_factor_of_the_load_cell():
    limit = lower_limit(PONTIUS, tabulate(PONTIUS))
    assert (limit.points, limit.degree) == (40, 2)
    assert limit.s_deflection == pytest.approx(0.205177424076185e-03, rel=1e-9)
    assert limit.deflection == pytest.approx(4.92425817782844e-04, rel=1e-9)
    # By the mean of load over deflection; by the local slope at full scale it is 690.55.
    assert limit.load == pytest.approx(676.55, abs=0.005)
    assert limit.lowest_load("A") == pytest.approx(270_620, abs=0.5)
    assert limit.lowest_load("AA") == pytest.approx(1_353_098, abs=0.5)


def test_the_words_say_which_ratio_and_whose_formula():
    words = " ".join(assess(PONTIUS).words)
    assert "677 N by the mean ratio of load to deflection, degree 2" in words
    assert "class AA from 1.353e+06 N, class A from 2.706e+05 N" in words
    assert "ASTM E74, formulas from memory" in words


def test_degree_by_the_extra_sum_of_squares():
    choice = choose_degree(LOAD, DEFLECTION, 1, most=5)
    assert [trial.s for trial in choice.trials] == pytest.approx(
        [2.171273e-3, 2.051774e-4, 2.046495e-4, 2.041511e-4, 2.070398e-4], rel=1e-6
    )
    assert choice.trials[1].f == pytest.approx(4218.5, abs=0.05)
    assert choice.trials[2].f == pytest.approx(1.191, abs=5e-4)
    assert choice.trials[2].p == pytest.approx(0.282, abs=5e-4)
    assert choice.advised == 2


@pytest.mark.parametrize(("stated", "advice"), [(1, "degree 2 is advised"), (2, ""), (3, "does")])
def test_the_record_of_the_load_cell_wants_a_quadratic(stated, advice):
    found = assess(
        record(
            series=PONTIUS.series,
            direction=PONTIUS.direction,
            applied=LOAD,
            indicated=DEFLECTION,
            degree=stated,
        )
    )
    assert found.degree.advised == 2
    assert advice in found.degree.words
    assert bool(found.degree.words) == (stated != 2)


# series 1 and 2 in one mounting, 3 and 4 turned; X4 and X6 under falling load
X = [1.00010, 1.00014, 1.00022, 1.00060, 0.99990, 1.00030]
ISO = {
    "series": ["1"] * 2 + ["2"] * 2 + ["3"] * 3 + ["4"] * 3,
    "mounting": ["0"] * 4 + ["120"] * 3 + ["240"] * 3,
    "direction": ["up", "up"] * 2 + ["up", "up", "down"] * 2,
    "applied": [0, 100] * 2 + [0, 100, 100] * 2,
    "indicated": [0.0, X[0], 0.0, X[1], 0.0, X[2], X[3], 0.0, X[4], X[5]],
}


def test_the_arithmetic_of_the_classes():
    table = tabulate(record(**ISO))
    assert table.loads.tolist() == [100.0]
    assert table.mean_up[0] == pytest.approx(1.0000733333, abs=5e-11)
    assert table.reproducibility_percent[0] == pytest.approx(0.0319976535, abs=5e-11)
    assert table.repeatability_percent[0] == pytest.approx(0.0039995201, abs=5e-11)
    assert table.reversibility_percent[0] == pytest.approx(0.0389978211, abs=5e-11)


def test_the_arithmetic_does_not_mind_the_zero():
    # The same deflections above another zero reading in each series.
    shift = np.array([0.01, -0.02, 0.03, 0.005])[[0, 0, 1, 1, 2, 2, 2, 3, 3, 3]]
    moved = tabulate(record(**(ISO | {"indicated": np.array(ISO["indicated"]) + shift})))
    assert moved.reproducibility_percent[0] == pytest.approx(0.0319976535, abs=1e-9)
    assert moved.reversibility_percent[0] == pytest.approx(0.0389978211, abs=1e-9)


def test_zero_and_creep_are_shares_of_the_largest_deflection():
    back = {
        "series": [*ISO["series"], "4"],
        "mounting": [*ISO["mounting"], "240"],
        "direction": [*ISO["direction"], "down"],
        "applied": [*ISO["applied"], 0],
        "indicated": [*ISO["indicated"], -0.0003],
    }
    table = tabulate(record(**back))
    assert table.zero_error_percent == pytest.approx(100 * -0.0003 / 1.0000733333, rel=1e-9)
    assert np.isnan(tabulate(record(**ISO)).zero_error_percent)
