"""``rigdata calibrations``: what it prints, and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy import sparse

from rigdata.calibration.classes import DEFAULT_LIMITS
from rigdata.cli.calibrations import variance_share
from rigdata.cli.main import main
from rigdata.reduction.points import BEYOND, FrictionPoints, column_names
from rigdata.reduction.points_file import budget_text, points_text
from rigdata.uncertainty.sources import Effect, Scope, Source

RIG = Path(__file__).parents[2] / "calibration"
IN_TIME, LATE = "2025-06-01", "2026-02-11"


def run(*options: str) -> Result:
    return CliRunner().invoke(main, ["calibrations", str(RIG), *options])


def points() -> FrictionPoints:
    columns = {name: np.full(3, "x") for name in column_names()}
    numbers = (
        "service_hours slip_speed_m_s temperature_c pressure_mpa mu u_random n_effective "
        "start_s end_s dwell_s"
    )
    columns |= {name: np.ones(3) for name in (*numbers.split(), *BEYOND)}
    columns |= {
        "point": np.array(["p1", "p2", "p3"]),
        "n_samples": np.array([9, 9, 9]),
        "used": np.array([True, True, False]),
        "u_random": np.array([0.001, 0.002, 0.5]),
    }
    ids = ("torque:TQ-2025-02:slope", "torque:TQ-2025-02:residual:R1", "torque:TQ-2025-021:slope")
    sources = tuple(Source(name, Scope.RIG, Effect.PROPORTIONAL, "words") for name in ids)
    shared = sparse.csr_array([[0.002, 0.0, 0.001], [0.002, -0.001, 0.001], [9.0, 9.0, 0.0]])
    return FrictionPoints(**columns, sources=sources, contributions=shared)


def test_the_table_and_the_words() -> None:
    result = run("--date", IN_TIME)
    assert result.exit_code == 0
    assert "torque      TQ-2025-02  2026-02-10         254" in result.stdout
    assert "not known" in result.stdout
    assert "by the mean ratio of load to" in result.stdout
    assert "from memory" in result.stdout
    assert "Without a calibration record: slip_speed" in result.stdout
    assert result.stderr == ""


def test_a_record_out_of_date_is_code_3() -> None:
    assert run("--date", "2026-02-10").exit_code == 0
    result = run("--date", LATE)
    assert result.exit_code == 3
    assert "was valid until 2026-02-10" in result.stderr


def test_today_is_the_day_unless_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1748736000")  # 2025-06-01
    assert run().stdout == run("--date", IN_TIME).stdout


def test_json() -> None:
    result = run("--date", LATE, "--json")
    found = json.loads(result.stdout)
    assert result.exit_code == 3
    assert (found["schema"], found["date"]) == ("rigdata/calibrations/1", LATE)
    assert "from memory" in found["class_limits"]
    torque, load = found["sensors"]
    assert (torque["record"], torque["days_left"]) == ("TQ-2025-02", -1)
    assert torque["drift_known"] is False
    assert torque["drift_percent"] is None
    assert torque["variance_share"] is None
    assert torque["class_not_shown"] == ["reproducibility"]
    assert (load["degree"], load["degree_advised"]) == (2, 1)
    assert load["lower_limit_factor"] > 0
    assert [w["severity"] for w in found["warnings"]] == ["warning", "warning", "note"]


def test_the_share_of_a_sensor_is_that_of_its_own_sources() -> None:
    table = points()
    used = 0.002**2 + 0.002**2 + 0.001**2
    total = 0.001**2 + 0.002**2 + used + 2 * 0.001**2
    assert variance_share(table, ["torque:TQ-2025-02:"]) == pytest.approx(used / total)
    assert variance_share(table, ["clamp-load:"]) == 0.0
    assert np.isnan(variance_share(table.select(~table.used), ["torque:"]))
    assert np.isnan(variance_share(None, ["torque:"]))


def test_results_show_the_share(tmp_path: Path) -> None:
    table = points()
    (tmp_path / "points.csv").write_text(points_text(table))
    (tmp_path / "budget.csv").write_text(budget_text(table))
    result = run("--date", IN_TIME, "--results", str(tmp_path))
    assert result.exit_code == 0
    assert "of var(mu)" in result.stdout
    assert "56 %" in result.stdout
    found = json.loads(run("--date", IN_TIME, "--results", str(tmp_path), "--json").stdout)
    assert [sensor["variance_share"] for sensor in found["sensors"]] == pytest.approx([9 / 16, 0])
    (tmp_path / "budget.csv").unlink()
    assert run("--date", IN_TIME, "--results", str(tmp_path)).exit_code == 1


def test_limits_of_ones_own(tmp_path: Path) -> None:
    own = tmp_path / "limits.toml"
    own.write_text(DEFAULT_LIMITS.read_text().replace("reversibility = 0.07", "reversibility = 99")
                   .replace("repeatability = 0.025", "repeatability = 99")
                   .replace("zero = 0.012", "zero = 99")
                   .replace("interpolation = 0.025", "interpolation = 99")
                   .replace("table of classes", "read on paper"))  # fmt: skip
    result = run("--date", IN_TIME, "--limits", str(own))
    assert "read on paper" in result.stdout.replace("\n   ", "")
    assert "class 00 from" in result.stdout


def test_no_rig_is_wrong_usage(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["calibrations", str(tmp_path)])
    assert result.exit_code == 2
    assert "Give a rig.toml or its folder" in result.stderr
