"""One small campaign and its results, for everything that the documents tell to type."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rigdata.cli import run as run_command
from rigdata.pipeline import run as pipeline
from rigdata.simulation import demo
from rigdata.simulation.scenario import ROUGH, SHORT, STEEL, standard_runs
from rigdata.simulation.spec import CampaignSpec
from rigdata.simulation.truth import LogCurve

REPOSITORY = Path(__file__).parents[2]
PACKS = ("A1", "A2", "A3", "A7", "A8", "B1", "B2")
TESTS = ("drag", "sweep-heavy", "load")
PACE = replace(SHORT, sweep_s=12.0, stair_s=1.5, dwells_s=(0.5, 1.5))
LAWS = ("log-speed", "dwell")  # named, so that no time goes into the choice
CHOICES = ("laws", "pool_scatter", "keep_bedding")  # options that change the results
# What that law follows, and no bedding-in.
PLAIN_ROUGH = replace(ROUGH, bedding_start=0.0)
PLAIN_STEEL = replace(
    STEEL, bedding_start=0.0, curve=LogCurve(level=0.098, rise=0.002, speed_m_s=0.1)
)


def small_demo() -> CampaignSpec:
    """The demo with fewer packs and shorter runs."""
    whole = demo.demo_spec("small")
    packs = tuple(pack for pack in whole.packs if pack.name in PACKS)
    tests = {p.name: (*TESTS, "breakaway") if p.state == "new" else TESTS for p in packs}
    runs = standard_runs(packs, tests, PACE, datetime.date(2025, 3, 10))
    return replace(whole, packs=packs, runs=runs, materials=(PLAIN_ROUGH, PLAIN_STEEL))


@pytest.fixture(scope="session")
def finished(tmp_path_factory: pytest.TempPathFactory) -> pipeline.CampaignResult:
    """The small demo with its clutch pack, and the results of `run_campaign` in it.

    The report is left out: it has tests of its own and would take half of the time.
    """
    folder = tmp_path_factory.mktemp("documents") / "demo"
    with pytest.MonkeyPatch.context() as patch:
        spec = small_demo()
        patch.setattr(demo, "demo_spec", lambda _size: spec)
        patch.setattr(pipeline, "render_report", lambda _report, **_more: "<!doctype html>")
        demo.write_example(folder)
        return pipeline.run_campaign(folder, laws=LAWS)


@pytest.fixture
def desk(
    finished: pipeline.CampaignResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """A folder like the repository, the working folder meanwhile, with the small demo.

    The demo is always the small one, and as the same bytes give the same results,
    they are worked out once and copied to wherever they are asked for again.
    """
    done = finished.campaign.folder
    shutil.copytree(REPOSITORY / "calibration", tmp_path / "calibration")
    scripts = shutil.ignore_patterns("ramp-differential", "__pycache__")
    shutil.copytree(REPOSITORY / "examples", tmp_path / "examples", ignore=scripts)
    for place in ("demo", "examples/ramp-differential"):
        shutil.copytree(done, tmp_path / place)
    spec = small_demo()
    monkeypatch.setattr(demo, "demo_spec", lambda _size: spec)
    monkeypatch.chdir(tmp_path)
    once = _known_results(finished, pipeline.run_campaign)
    monkeypatch.setattr(run_command, "run_campaign", once)
    monkeypatch.setattr("rigdata.run_campaign", once)
    return tmp_path


def _known_results(
    finished: pipeline.CampaignResult, run_campaign: Callable[..., pipeline.CampaignResult]
) -> Callable[..., pipeline.CampaignResult]:
    toml = (finished.campaign.folder / "campaign.toml").read_bytes()

    def run(campaign: Path | str, **options: Any) -> pipeline.CampaignResult:
        folder = Path(campaign)
        folder = folder if folder.is_dir() else folder.parent
        special = [name for name in CHOICES if options.get(name)]
        if special or (folder / "campaign.toml").read_bytes() != toml:
            return run_campaign(campaign, **options)
        out = Path(options.get("out") or folder / "results")
        shutil.copytree(finished.folder, out, dirs_exist_ok=True)
        return replace(finished, folder=out)

    return run
