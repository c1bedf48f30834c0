"""A plan carried out on the virtual rig."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.errors import ResultError
from rigdata.pipeline.rehearsal import rehearsal_spec, rehearse
from rigdata.planning.description import read_request
from rigdata.planning.plan import Plan, make_plan
from rigdata.reduction.reduce import reduce_campaign

RIG = Path(__file__).parents[2] / "calibration" / "rig.toml"
ROUGH = (
    "[materials.rough-on-steel]\n"
    'friction_plate = "rough-faced plate, sprayed coating on steel"\n'
    'mating_plate = "plain steel plate, ground"\n'
)
CHANGES = (
    ("rig/rig.toml", RIG.as_posix()),
    ("resolve_percent = 5 ", "packs = 2 "),
    ("# tests = 6 ", "tests = 3 "),
    ("# first_day", "first_day"),
    (ROUGH, ""),
)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    text = files("rigdata.planning").joinpath("plan.toml").read_text(encoding="utf-8")
    for old, new in CHANGES:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path_factory.mktemp("plan") / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return make_plan(read_request(path))


def test_every_run_of_the_plan_gives_what_it_is_for(plan: Plan, tmp_path: Path) -> None:
    folder = tmp_path / "try"
    rehearse(plan, folder)
    reduction = reduce_campaign(read_campaign(folder))
    assert not reduction.left_out
    planned = {run.id: run.test for block in plan.blocks for run in block.runs}
    points = reduction.points
    giving = {name for name, test in planned.items() if len(test.points) or test.dwells_s}
    assert giving <= set(points.run.tolist())
    for name, test in planned.items():
        own = points.select(points.run == name) if name in giving else None
        if own is None:
            continue
        low, high = test.pressures_mpa
        assert np.all((own.pressure_mpa > 0.97 * low) & (own.pressure_mpa < 1.03 * high))
        assert np.all(own.slip_speed_m_s < 1.03 * test.slip_speeds_m_s[1] + 1e-9)
    with pytest.raises(ResultError, match="not empty"):
        rehearse(plan, folder)


def test_the_records_hold_on_the_days_planned(plan: Plan) -> None:
    spec = rehearsal_spec(plan)
    days = [run.date for run in spec.runs]
    assert all(spec.rig.calibrated < day < spec.rig.valid_until for day in days if day)
    assert days[0] == plan.request.first_day
