"""A few of the endings that `tests/studies/kills.py` tries by the hundred."""

from __future__ import annotations

import random
import sys

import pytest

if not sys.platform.startswith("linux"):
    pytest.skip("forks, and reads processor times in /proc", allow_module_level=True)

from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from tests.storage.kills import REDUCE, Bench


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    place = tmp_path_factory.mktemp("killed")
    campaign = tmp_path_factory.mktemp("bench") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, campaign)
    return Bench(campaign, place, REDUCE)


@pytest.mark.filterwarnings("ignore:This process.*fork:DeprecationWarning")
@pytest.mark.parametrize("kind", ["SIGKILL", "SIGTERM", "SIGINT", "change", "short files"])
@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_is_lost_or_half_written(bench: Bench, kind: str, seed: int) -> None:
    ending = bench.once(kind, random.Random(f"{kind} {seed}"))
    assert ending.faults == (), ending
