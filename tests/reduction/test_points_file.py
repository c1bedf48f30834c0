"""points.csv and budget.csv: exact round trip, hand-made files, planted faults."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse

from rigdata.errors import ResultError
from rigdata.reduction.points import BEYOND, FrictionPoints, column_names
from rigdata.reduction.points_file import (
    budget_text,
    points_columns,
    points_text,
    read_cell,
    read_points,
    written_cell,
)
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source

SOURCES = (
    Source("torque:TC-1:slope", Scope.RIG, Effect.PROPORTIONAL, "torque calibration, slope"),
    Source("zero:R,1", Scope.RUN, Effect.ADDITIVE, 'zero "before" and after'),
    Source("=cmd", Scope.POINT, Effect.ADDITIVE, "-odd label", Distribution.RECTANGULAR, 7.5),
)
NUMBERS = ("mu", "u_random", *BEYOND)


def make_points(names: list[str] | None = None) -> FrictionPoints:
    rng = np.random.default_rng(1)
    n = 5
    text = {name: np.array(["x"] * n) for name in column_names()}
    text["point"] = np.array([f"R/{i}" for i in range(n)])
    text["pack"] = np.array(names or ["007", "NA", "=1+2", "'quoted", "a,b"])
    text["direction"] = np.array(["up", "down", "-", "-", "-"])
    text["reason"] = np.array(["", "", "", "", "-10 degC, too cold"])
    numbers = {name: rng.uniform(0.01, 1.0, n) / 3 for name in column_names()}
    numbers["ripple_hz"] = np.array([12.0, np.nan, np.nan, 1e-300, np.nan])
    numbers["dwell_s"] = np.array([np.nan, np.nan, np.nan, 2.0, 1e-300])
    columns = {
        name: numbers[name]
        if name in NUMBERS or name.endswith(("_s", "_c", "_mpa", "hours", "effective"))
        else text[name]
        for name in column_names()
    }
    columns["used"] = np.array([True, True, False, True, False])
    columns["n_samples"] = np.arange(n) + 1
    contributions = rng.normal(size=(n, len(SOURCES))) / 7
    contributions[0, 0], contributions[2, 1] = 0.1, 0.0
    shifts = tuple(sparse.csr_array(rng.normal(size=(n, len(SOURCES)))) for _ in range(3))
    return FrictionPoints(
        **columns,
        sources=SOURCES,
        contributions=sparse.csr_array(contributions),
        condition_shifts=shifts,
    )


def write(folder: Path, points: str, budget: str) -> tuple[Path, Path]:
    paths = folder / "points.csv", folder / "budget.csv"
    for path, text in zip(paths, (points, budget), strict=True):
        path.write_text(text, encoding="utf-8", newline="")
    return paths


def assert_same(a: FrictionPoints, b: FrictionPoints) -> None:
    for name in column_names():
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)
    assert a.sources == b.sources
    for one, other in zip(a.influences, b.influences, strict=True):
        np.testing.assert_array_equal(one.toarray(), other.toarray())


def test_round_trip_is_exact(tmp_path: Path) -> None:
    points = make_points()
    paths = write(tmp_path, points_text(points), budget_text(points))
    assert_same(points, read_points(*paths))


def test_no_points_round_trip(tmp_path: Path) -> None:
    points = make_points().select(np.zeros(5, dtype=bool))
    paths = write(tmp_path, points_text(points), budget_text(points))
    assert len(read_points(*paths)) == 0


@settings(max_examples=50)
@given(st.text(st.characters(exclude_categories=("Cs", "Cc"))))
def test_any_name_reads_back_and_is_no_formula(name: str) -> None:
    cell = written_cell(name)
    assert read_cell(cell) == name
    assert len(cell) < 2 or not cell.startswith(("=", "+", "-", "@"))


def test_columns_in_the_order_of_the_contract() -> None:
    assert ",".join(points_columns()) == (
        "point,run,pack,material,batch,state,service_hours,procedure,kind,method,direction,"
        "slip_speed_m_s,temperature_c,pressure_mpa,mu,u_mu,u_random,n_samples,n_effective,"
        "start_s,end_s,used,reason,dwell_s,"
        "torque_ripple,ripple_limit,ripple_hz,ripple_above_hz,stick_share,"
        "pack_work_kj,pack_sliding_s,pack_engagements,runs_not_counted"
    )


HAND = """point,run,pack,material,batch,state,kind,\
slip_speed_m_s,temperature_c,pressure_mpa,mu,u_random
1,R1,P1,rough,B1,new,kinetic,0.1,60,1,0.11,0.001
2,R1,P1,rough,B1,new,kinetic,0.2,60,1,0.12,0.001
"""
HAND_BUDGET = """point,source,scope,contribution
1,torque:T1:slope,rig,0.001
2,torque:T1:slope,rig,0.0011
2,outer-radius:P1,pack,0.0004
2,zero:R1,run,-0.0002
2,repeat:2,point,0.0001
"""


def test_hand_made_files_need_only_what_matters(tmp_path: Path) -> None:
    points = read_points(*write(tmp_path, HAND, HAND_BUDGET))
    assert points.used.all()
    for name in ("dwell_s", *BEYOND):
        assert np.isnan(getattr(points, name)).all()
    effects = {source.kind: source.effect for source in points.sources}
    assert effects == {
        "torque": Effect.PROPORTIONAL,
        "outer-radius": Effect.PROPORTIONAL,
        "zero": Effect.ADDITIVE,
        "repeat": Effect.ADDITIVE,
    }
    assert points.u_mu[0] == pytest.approx(np.hypot(0.001, 0.001))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("mu,u_random", "mu,u_randon", "expected 'u_random'"),
        (",u_random", "", "no column u_random"),
        ("0.12,0.001", "0.12,", "line 3"),
        ("0.12,0.001", "0.12,-0.001", "a number from 0 to 1e.06"),
        ("0.12,0.001", "0,12,0.001", "13 cells"),
        ("kinetic,0.1,", "kinetic,-0.1,", "'slip_speed_m_s' has no usable number"),
        ("kinetic,0.1,", "kinetic,0,", "is kinetic, but its slip speed is 0"),
        ("60,1,0.11", "60,0,0.11", "'pressure_mpa' has no usable number"),
        ("2,R1", "1,R1", "stands twice"),
        ("0.11,", "abc,", "'abc' in column 'mu' is no number"),
        ("0.12,0.001", "0.12,1e308", "'u_random' has no usable number"),
        ("kinetic,0.1,", "kinetic,5e307,", "'slip_speed_m_s' has no usable number"),
    ],
)
def test_faults_in_points_are_told(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(ResultError, match=says):
        read_points(*write(tmp_path, HAND.replace(old, new, 1), HAND_BUDGET))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("rig,0.0011", "pack,0.0011", "described in two ways"),
        ("run,-0.0002", "runs,-0.0002", "scope one of rig, pack"),
        ("2,zero", "3,zero", "not in points.csv"),
        ("0.0004", "", "a contribution is no usable number"),
        ("0.0004", "-1e308", "a contribution is no usable number"),
        ("2,repeat:2,point", "2,zero:R1,run", "stands twice"),
    ],
)
def test_faults_in_the_budget_are_told(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(ResultError, match=says):
        read_points(*write(tmp_path, HAND, HAND_BUDGET.replace(old, new, 1)))


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ("box,9", "distribution one of normal, rectangular or blank"),
        ("normal,0", "0 degrees of freedom"),
        (",nan", "nan degrees of freedom"),
        (",many", "dof a number or blank"),
    ],
)
def test_faults_in_distribution_and_dof_are_told(tmp_path: Path, cells: str, says: str) -> None:
    header, *lines = HAND_BUDGET.splitlines()
    rows = [f"{header},distribution,dof", *(f"{line},," for line in lines[:-1])]
    budget = "\n".join([*rows, f"{lines[-1]},{cells}"]) + "\n"
    with pytest.raises(ResultError, match=says):
        read_points(*write(tmp_path, HAND, budget))


def test_a_budget_of_other_points_is_refused(tmp_path: Path) -> None:
    points = make_points()
    budget = budget_text(points).replace(",rig,", ",rig,1", 1)
    with pytest.raises(ResultError, match="two files of one reduction"):
        read_points(*write(tmp_path, points_text(points), budget))


def test_a_missing_budget_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "points.csv").write_text(HAND)
    with pytest.raises(ResultError, match=r"budget\.csv"):
        read_points(tmp_path / "points.csv", tmp_path / "budget.csv")
