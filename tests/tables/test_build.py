"""Tables of a whole campaign: provenance, and groups that cannot have one."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.errors import Severity
from rigdata.friction.conditions import Conditions
from rigdata.friction.results import FrictionFit, Group
from rigdata.tables import build
from rigdata.tables.build import build_tables, readable_box
from rigdata.tables.correlation import SharedErrors
from rigdata.uncertainty.identity import Origins


@pytest.fixture
def campaign() -> SimpleNamespace:
    record = SimpleNamespace(id="TC-1", sha256="a" * 64)
    return SimpleNamespace(
        name="spring tests",
        date=datetime.date(2026, 3, 1),
        materials={"rough on plain": SimpleNamespace(friction_plate="rough", mating_plate="plain")},
        rig=SimpleNamespace(histories={"torque": (record,), "clamp_load": (record,)}),
        origins=Origins({}, "b" * 64, "c" * 64),
    )


@pytest.fixture(autouse=True)
def _without_points(monkeypatch) -> None:
    """These fits are made by hand: no points stand behind them to share errors."""
    none = SharedErrors.none
    monkeypatch.setattr(build, "shared_errors", lambda fit, *_: none(fit.theta.size))


@pytest.fixture
def points() -> SimpleNamespace:
    return SimpleNamespace(
        used=np.array([True, True, False, True]),
        material=np.array(["rough on plain"] * 3 + ["other"]),
        state=np.array(["new"] * 4),
        pack=np.array(["007", "A2", "A3", "B1"]),
        run=np.array(["R1", "R2", "R3", "R4"]),
    )


def test_a_table_says_where_it_comes_from(fit, static_fit, points, campaign) -> None:
    built = build_tables({fit.group: fit}, points, campaign, static={fit.group: static_fit})
    table = built.tables[fit.group]
    assert built.notices == ()
    assert table.static is not None
    assert table.static.slip_speed_m_s.tolist() == [0.0]
    assert table.static.mu(0.0, 80.0, 1.0).mu[0] == pytest.approx(0.112)
    assert table.provenance["packs"] == ["007", "A2"]
    assert table.provenance["runs"] == ["R1", "R2"]
    assert table.provenance["points"] == 2
    assert table.provenance["records"] == [{"id": "TC-1", "sha256": "a" * 64}]
    assert table.provenance["date"] == "2026-03-01"


def test_one_group_without_a_table_does_not_stop_the_others(
    fit: FrictionFit, points, campaign
) -> None:
    falling = np.array([0.01, -0.02, 0.0, 0.0])
    bad = replace(fit, group=Group("bad", "new"), theta=falling)
    built = build_tables({bad.group: bad, fit.group: fit}, points, campaign)
    assert list(built.tables) == [fit.group]
    (notice,) = built.notices
    assert notice.severity is Severity.LEFT_OUT
    assert "bad (new)" in notice.where
    assert "negative" in notice.what


def test_breakaway_without_a_kinetic_law_is_said(static_fit, points, campaign) -> None:
    built = build_tables({}, points, campaign, static={static_fit.group: static_fit})
    assert built.tables == {}
    assert "breakaway was tested" in built.notices[0].what


@pytest.mark.parametrize("seed", range(20))
def test_axis_ends_move_outward_by_less_than_the_envelope_allows(
    fit: FrictionFit, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    low = np.array([10 ** rng.uniform(-4, 0), rng.uniform(-30, 150), 10 ** rng.uniform(-2, 1)])
    high = low + np.array([low[0] * rng.uniform(0, 50), rng.uniform(0, 100), rng.uniform(0, 5)])
    box = readable_box(replace(fit, envelope=replace(fit.envelope, low=low, high=high)))
    for i, (a, b) in enumerate(box):
        assert a <= low[i]
        assert b >= high[i]
        room = (math.log(1.05), 2.0, math.log(1.05))[i]
        moved = (low[i] - a, b - high[i]) if i == 1 else (np.log(low[i] / a), np.log(b / high[i]))
        assert max(moved) <= room + 1e-12


@pytest.mark.parametrize("name", ["fit", "triangle_fit"])
def test_no_tested_condition_is_further_from_the_law_than_said(name, request, provenance) -> None:
    """100,000 random conditions, apart from those that the grid was chosen by."""
    fit = request.getfixturevalue(name)
    table = build.build_table(fit, "kinetic", provenance)
    low, high = fit.envelope.low, fit.envelope.high
    places = np.random.default_rng(77).uniform(low, high, (100_000, 3))
    places[:, 0] = low[0] * (high[0] / low[0]) ** np.random.default_rng(78).uniform(size=100_000)
    tested = Conditions(*places.T)
    tested = tested.select(np.flatnonzero(fit.envelope.contains(tested)))
    read = table.mu(tested.slip_speed_m_s, tested.temperature_c, tested.pressure_mpa)
    error = np.abs(read.mu / fit.predict(tested).mu - 1.0)
    assert len(tested) > 20_000
    assert error.max() <= table.tolerance
