"""The run sheet: every run with its settings, and nothing taken as markup."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest

from rigdata.planning.description import read_request
from rigdata.planning.plan import Plan, make_plan
from rigdata.report.run_sheet import run_sheet

RIG = Path(__file__).parents[2] / "calibration" / "rig.toml"


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    text = files("rigdata.planning").joinpath("plan.toml").read_text(encoding="utf-8")
    text = text.replace("rig/rig.toml", RIG.as_posix())
    text = text.replace("resolve_percent = 5 ", "resolve_percent = 12 ")
    text = text.replace("rough plates, new batch", "rough <b>plates</b> & co")
    path = tmp_path_factory.mktemp("plan") / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return make_plan(read_request(path))


def test_every_run_in_its_order(plan: Plan) -> None:
    html = run_sheet(plan)
    planned = [run.id for block in plan.blocks for run in block.runs]
    assert re.findall(r'<th scope="row"[^>]*>(R\d+)</th>', html) == planned
    for block in plan.blocks:
        assert f"pack {block.pack}, {block.group.material}, batch {block.group.batch}" in html
    for field in ("Date", "Operator", "Remarks", "Torque zero", "Log, if not"):
        assert field in html
    assert "hot oil can injure" in html
    assert "<b>plates</b>" not in html


def test_loads_and_speeds_for_the_bench(plan: Plan) -> None:
    """1.5 MPa on 0.8 pi (55^2 - 40^2) mm^2 is 5372 N; 1.2 m/s at 47.89 mm is 239 1/min."""
    html = run_sheet(plan)
    assert '<td class="number">5370</td>' in html
    assert re.search(r"to 239</td>", html)
