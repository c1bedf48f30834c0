"""Verdicts on the runs of a campaign that is under way."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.errors import ReductionError
from rigdata.reduction.reduce import reduce_campaign
from rigdata.reduction.verdicts import EXCLUDED, GOOD, LOOK, REPEAT, TO_COME, check_campaign
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, folder)
    return folder


def campaign_of(bench: Path, folder: Path, change) -> Campaign:
    shutil.copytree(bench, folder)
    change(folder)
    return read_campaign(folder / "campaign.toml")


def logs_kept(*names: str):
    def change(folder: Path) -> None:
        for log in (folder / "logs").iterdir():
            if log.stem not in names:
                log.unlink()

    return change


def verdicts(campaign: Campaign) -> dict[str, str]:
    return {one.run.id: one.verdict for one in check_campaign(campaign).runs}


def test_before_the_first_log_every_run_is_to_come(bench: Path, tmp_path: Path) -> None:
    campaign = campaign_of(bench, tmp_path / "c", logs_kept())
    found = check_campaign(campaign)
    assert set(found.counts) == {TO_COME}
    assert found.passed
    with pytest.raises(ReductionError, match="no run gave a friction point"):
        reduce_campaign(campaign)


def test_runs_without_friction_points_are_judged_alone(bench: Path, tmp_path: Path) -> None:
    found = check_campaign(campaign_of(bench, tmp_path / "c", logs_kept("R001", "R002")))
    assert [one.verdict for one in found.runs[:3]] == [GOOD, GOOD, TO_COME]
    assert found.passed
    assert found.runs[1].trace is not None
    assert found.runs[1].n_points == 0


def test_a_log_cut_in_a_line_is_looked_at_and_rubbish_is_repeated(
    bench: Path, tmp_path: Path
) -> None:
    def spoil(folder: Path) -> None:
        cut, rubbish = folder / "logs/R003.csv", folder / "logs/R002.csv"
        cut.write_bytes(cut.read_bytes()[:-3])
        rubbish.write_text("nothing of use")

    found = check_campaign(campaign_of(bench, tmp_path / "c", spoil))
    by_id = {one.run.id: one for one in found.runs}
    assert by_id["R003"].verdict == LOOK
    assert "last line" in by_id["R003"].reason
    assert by_id["R002"].verdict == REPEAT
    assert by_id["R002"].trace is None
    assert not found.passed


def test_a_run_without_points_shows_its_course(bench: Path, tmp_path: Path) -> None:
    def unload(folder: Path) -> None:
        shutil.copy(folder / "logs/R001.csv", folder / "logs/R003.csv")

    found = check_campaign(campaign_of(bench, tmp_path / "c", unload))
    one = found.runs[2]
    assert one.verdict == REPEAT
    assert "clamp load never rises" in one.reason
    assert one.do
    assert one.trace is not None
    assert one.trace.run == "R003"


def test_an_excluded_run_keeps_its_reason(bench: Path, tmp_path: Path) -> None:
    def exclude(folder: Path) -> None:
        file = folder / "campaign.toml"
        text = file.read_text()
        at = text.index('id = "R003"')
        file.write_text(text[:at] + 'exclude = "belt slipped"\n' + text[at:])

    found = check_campaign(campaign_of(bench, tmp_path / "c", exclude))
    assert found.runs[2].verdict == EXCLUDED
    assert found.runs[2].reason == "belt slipped"
    assert not found.passed
