"""Reading a table: against the law, against SciPy, and outside the envelope."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from rigdata.errors import Severity, TableError
from rigdata.friction.conditions import Conditions
from rigdata.friction.results import FrictionFit
from rigdata.tables.build import build_table
from rigdata.tables.table import FIELDS, CoefficientTable


def inside_sample(table: CoefficientTable, n: int = 3000) -> np.ndarray:
    ends = np.array([[nodes[0], nodes[-1]] for nodes in table.axes]).T
    at = ends[0] + (ends[1] - ends[0]) * np.random.default_rng(5).random((n, ends.shape[1]))
    return at[table.envelope.contains(Conditions(*at.T))]


def test_reads_the_law_within_the_tolerance(table: CoefficientTable, fit: FrictionFit) -> None:
    at = inside_sample(table)
    read = table.mu(*at.T)
    exact = fit.predict(Conditions(*at.T))
    assert len(at) > 1000
    assert np.max(np.abs(read.mu / exact.mu - 1.0)) <= table.tolerance == 0.005
    for name in ("mean_low", "mean_high", "next_pack_low", "next_pack_high"):
        off = np.abs(getattr(read, name) - getattr(exact, name)) / exact.mu
        assert np.max(off) <= table.tolerance, name
    assert not read.moved.any()
    assert read.notices == ()


def test_at_the_reference_the_table_gives_the_law_itself(
    table: CoefficientTable, fit: FrictionFit
) -> None:
    assert table.mu(0.1, 80.0, 1.0).mu[0] == pytest.approx(fit.parameters["mu0"], rel=1e-12)


def test_a_dwell_is_read_within_the_tolerance_and_as_scipy_does(
    dwell_table: CoefficientTable, dwell_fit: FrictionFit
) -> None:
    at = inside_sample(dwell_table)
    read = dwell_table.mu(*at.T)
    exact = dwell_fit.predict(Conditions(*at.T))
    assert len(at) > 1000
    for name in FIELDS[:1] + FIELDS[2:]:
        off = np.abs(getattr(read, name) - getattr(exact, name)) / exact.mu
        assert np.max(off) <= dwell_table.tolerance, name
    oracle = RegularGridInterpolator(dwell_table.axes[1:], dwell_table.field("mu")[0])(at[:, 1:])
    np.testing.assert_allclose(read.mu, oracle, rtol=1e-12)


def test_without_a_dwell_that_of_the_reference_is_read(
    dwell_table: CoefficientTable, dwell_fit: FrictionFit, table: CoefficientTable
) -> None:
    assert [nodes[[0, -1]].tolist() for nodes in dwell_table.axes] == [
        [0.0, 0.0],
        [40.0, 150.0],
        [0.5, 2.0],
        [1.9, 60.0],
    ]
    read = dwell_table.mu(0.0, 80.0, 1.0)
    expected = dwell_fit.parameters["mu0"] + dwell_fit.parameters["a"] * np.log(11.0)
    assert read.mu[0] == pytest.approx(expected, rel=1e-12)  # a node
    assert read.dwell_s.tolist() == [10.0]
    assert dwell_table.mu(0.0, 80.0, 1.0, 10.0).mu[0] == read.mu[0]
    assert dwell_table.mu(0.0, 80.0, 1.0, 50.0).mu[0] > read.mu[0]
    assert np.isnan(table.mu(0.1, 80.0, 1.0).dwell_s[0])
    with pytest.raises(TableError, match="does not depend on a dwell"):
        table.mu(0.1, 80.0, 1.0, 10.0)


def test_a_dwell_outside_the_tests_is_refused_or_moved(dwell_table: CoefficientTable) -> None:
    with pytest.raises(
        TableError, match=r"dwell before breakaway 300 s is outside .* 1\.9 to 60 s"
    ):
        dwell_table.mu(0.0, 80.0, 1.0, 300.0)
    read = dwell_table.mu(0.0, 80.0, 1.0, [10.0, 300.0, 0.0], outside="nearest")
    assert read.moved.tolist() == [False, True, True]
    np.testing.assert_allclose(read.dwell_s, [10.0, 58.0, 1.9], rtol=1e-6)
    np.testing.assert_allclose(read.slip_speed_m_s, 0.0)


def test_every_field_is_read_as_scipy_does(table: CoefficientTable) -> None:
    at = inside_sample(table)
    read = table.mu(*at.T)
    for name in FIELDS:
        oracle = RegularGridInterpolator(table.axes, table.field(name))(at)
        np.testing.assert_allclose(getattr(read, name), oracle, rtol=1e-12)


def test_conditions_broadcast(table: CoefficientTable) -> None:
    read = table.mu([0.05, 0.1, 0.5], 80, 1)
    assert read.mu.shape == (3,)
    assert np.all(np.diff(read.mu) > 0.0)
    assert read.temperature_c.tolist() == [80.0] * 3


def test_after_one_pack_there_is_no_next_pack(one_pack_table: CoefficientTable) -> None:
    read = one_pack_table.mu(0.1, 80, 1)
    assert np.isnan([read.next_pack_low[0], read.next_pack_high[0]]).all()
    assert read.mean_low[0] < read.mu[0] < read.mean_high[0]


def test_axis_ends_are_readable_and_hold_what_was_tested(table: CoefficientTable) -> None:
    ends = [(float(nodes[0]), float(nodes[-1])) for nodes in table.axes]
    assert ends == [(0.01, 1.0), (40.0, 150.0), (0.5, 2.0)]


@pytest.mark.parametrize(
    ("condition", "says"),
    [
        ((2.3, 80.0, 1.0), "slip speed 2.3 m/s is outside what was tested, 0.01 to 1 m/s"),
        ((0.1, 220.0, 1.0), "plate temperature 220 degC is outside what was tested, 40 to 150"),
        ((0.1, 80.0, 0.1), "face pressure 0.1 MPa is outside what was tested, 0.5 to 2 MPa"),
        ((0.1, 80.0, -1.0), "face pressure -1 MPa"),
        ((0.0, 80.0, 1.0), "slip speed 0 m/s"),
        ((0.1, np.nan, 1.0), "not a number"),
        ((0.1, np.inf, 1.0), "not a number"),
    ],
)
def test_outside_is_refused_by_name(table: CoefficientTable, condition, says: str) -> None:
    with pytest.raises(TableError, match=says.replace(".", r"\.")):
        table.mu(*condition)


def test_one_condition_outside_refuses_all(table: CoefficientTable) -> None:
    with pytest.raises(TableError, match=r"slip speed 3 m/s"):
        table.mu([0.1, 3.0], 80, 1)


def test_the_nearest_inside_value_is_given_only_when_asked_and_said(
    table: CoefficientTable,
) -> None:
    read = table.mu([0.1, 2.3, 0.0], [80, 80, 80], 1, outside="nearest")
    assert read.moved.tolist() == [False, True, True]
    np.testing.assert_allclose(read.slip_speed_m_s, [0.1, 0.987, 0.0104], rtol=1e-6)
    np.testing.assert_allclose(read.temperature_c, 80.0)
    inside = table.mu(0.987, 80, 1).mu[0]
    assert read.mu[1] == pytest.approx(inside, rel=1e-6)
    (notice,) = read.notices
    assert notice.severity is Severity.WARNING
    assert "2.3 m/s" in notice.what
    assert "2 of 3" in notice.what


def test_a_corner_that_was_not_tested_together_is_outside(
    triangle_fit: FrictionFit, provenance
) -> None:
    table = build_table(triangle_fit, "kinetic", provenance)
    assert not table.inside_envelope.all()
    assert not table.inside_envelope[-1, -1, -1]
    with pytest.raises(TableError, match="not tested together"):
        table.mu(0.1, 150.0, 2.0)
    read = table.mu(0.1, 150.0, 2.0, outside="nearest")
    near = Conditions(read.slip_speed_m_s, read.temperature_c, read.pressure_mpa)
    assert triangle_fit.envelope.contains(near).all()
    assert read.mu[0] == pytest.approx(triangle_fit.predict(near).mu[0], rel=0.005)


def test_an_unknown_rule_for_outside_is_refused(table: CoefficientTable) -> None:
    with pytest.raises(TableError, match="'refuse' or 'nearest'"):
        table.mu(0.1, 80, 1, outside="extend")  # type: ignore[arg-type]


def test_arrays_are_read_only(table: CoefficientTable) -> None:
    with pytest.raises(ValueError, match="read-only"):
        table.nodes[0, 0, 0, 0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        table.mu(0.1, 80, 1).mu[0] = 1.0
